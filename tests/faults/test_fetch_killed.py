"""kill -9 at random moments of a real fetch, a process of its own over a real store: the same command finishes it."""

import json
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, Manifest
from tests.faults.fetch_house import hidden_in, lies_at, stored
from tests.faults.send_child import store_of
from tests.servers.s3 import S3Server

HANDS = 8
ROOT = Path(__file__).parents[2]


class Line(NamedTuple):
    what: str
    hand: str
    key: str


class Toll(NamedTuple):
    """What rounds of killing came to."""

    rounds: int
    cut: int  # rounds in which a fetch was killed before its end
    again: int  # objects that were in flight at a kill and were fetched once more

    def __str__(self) -> str:
        return f"{self.rounds} rounds, {self.cut} cut short, {self.again} objects in flight fetched again"


class Reel(NamedTuple):
    """What was sent, and how to reach the store where it lies."""

    files: dict[str, bytes]
    manifest: Manifest
    where: list[str]


class House(NamedTuple):
    """The receiving site."""

    reel: Reel
    base: Path

    @property
    def target(self) -> Path:
        return self.base / "arrived"

    def fetch(self) -> subprocess.Popen[str]:
        (self.base / "manifest").write_bytes(self.reel.manifest.encode())
        places = [self.base / "manifest", self.target, self.base / "notes", self.base / "log"]
        command = [sys.executable, "-m", "tests.faults.fetch_child", *places, str(HANDS), *self.reel.where]
        return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def lines(self) -> list[Line]:
        log = self.base / "log"
        text = log.read_text() if log.exists() else ""
        whole = text[: text.rfind("\n") + 1]  # the last one may be on its way still
        return [Line(*line.split(" ", 2)) for line in whole.splitlines()]

    def runs(self) -> list[list[Line]]:
        runs: list[list[Line]] = []
        for line in self.lines():
            if line.what == "ready":
                runs.append([])
            else:
                runs[-1].append(line)
        return runs


def killed_after(house: House, reads: int, wait: float) -> bool:
    """Start a fetch, kill it `wait` seconds after it began its read number `reads`; False if it had finished before."""
    earlier = len(house.lines())
    process = house.fetch()
    while process.poll() is None and sum(line.what == "begun" for line in house.lines()[earlier:]) < reads:
        time.sleep(0.002)
    time.sleep(wait)
    process.kill()
    output, errors = process.communicate()
    assert process.returncode in {0, -9}, output + errors
    return process.returncode == -9


def check_whole_or_absent(house: House) -> None:
    if house.target.exists():
        assert lies_at(house.target) == house.reel.files, "something half-written has the final name"


def check_nothing_was_fetched_twice(house: House) -> int:
    """Each run may fetch again only what was in flight when an earlier one was killed. Return how much that was."""
    settled: set[str] = set()
    for run in house.runs():
        begun = [line.key for line in run if line.what == "begun"]
        assert len(begun) == len(set(begun))
        assert not settled & set(begun), "an object that had landed was fetched again"
        # What a hand was at last may not have been written yet; before it took that up, it had written all else.
        last = set({line.hand: line.key for line in run}.values())
        assert len(last) <= HANDS
        settled |= set(begun) - last
    reads = [line.key for line in house.lines() if line.what == "begun"]
    again = len(reads) - len(set(reads))
    assert again <= HANDS * (len(house.runs()) - 1)
    return again


def kill_and_finish(seed: int, reel: Reel, base: Path) -> Toll:
    dice = random.Random(seed)
    house = House(reel, base)
    objects = len(reel.manifest.objects())
    kills = []
    for _ in range(dice.choice([1, 1, 2])):
        kills.append(killed_after(house, dice.randint(0, objects), dice.random() ** 2 * 0.05))
        check_whole_or_absent(house)
    output, errors = (process := house.fetch()).communicate(timeout=300)
    assert process.returncode == 0, output + errors
    assert json.loads(output)["whole"]
    assert lies_at(house.target) == reel.files
    assert hidden_in(base) == []
    return Toll(1, any(kills), check_nothing_was_fetched_twice(house))


def killed(tmp_path: Path, reel: Reel, seeds: range) -> Toll:
    tolls = []
    for seed in seeds:
        base = tmp_path / str(seed)
        base.mkdir()
        try:
            tolls.append(kill_and_finish(seed, reel, base))
        except BaseException as fault:
            fault.add_note(f"seed {seed}")
            raise
        shutil.rmtree(base)
    toll = Toll(*(sum(column) for column in zip(*tolls, strict=True)))
    assert toll.cut > toll.rounds * 0.6, f"too few kills struck a fetch under way: {toll}"
    return toll


def frames() -> dict[str, bytes]:
    dice = random.Random(21)
    return {f"frames/A_R01.{86400 + n:07d}.dpx": dice.randbytes(dice.randint(1, 300_000)) for n in range(80)}


def with_sound() -> dict[str, bytes]:
    """The same, with frames that are written straight to the disk, and a sound file that goes in chunks."""
    dice = random.Random(22)
    large = {f"frames/A_R01.{86500 + n:07d}.dpx": dice.randbytes(2_000_000 + n) for n in range(10)}
    sound = bytearray(WHOLE_LIMIT + 5)
    for place in range(0, len(sound), CHUNK_SIZE):
        sound[place : place + 5] = place.to_bytes(5, "big")
    return {**frames(), **large, "mix.wav": bytes(sound)}


def in_a_folder(folder: Path, files: dict[str, bytes]) -> Reel:
    where = ["directory", str(folder / "bucket")]
    return Reel(files, stored(store_of(*where), files), where)


def in_a_bucket(server: S3Server, files: dict[str, bytes]) -> Reel:
    where = ["s3", server.bucket(), server.endpoint, server.access_key, server.secret_key]
    return Reel(files, stored(store_of(*where), files), where)


Sent = Callable[[dict[str, bytes]], Reel]


@pytest.fixture
def folder(tmp_path: Path) -> Sent:
    return lambda files: in_a_folder(tmp_path, files)


@pytest.fixture
def bucket(seaweedfs: S3Server) -> Sent:
    return lambda files: in_a_bucket(seaweedfs, files)


def test_a_fetch_killed_at_random_moments_is_finished_by_the_same_command(tmp_path, folder):
    killed(tmp_path, folder(frames()), range(5))


@pytest.mark.seaweedfs
def test_a_fetch_from_a_real_server_killed_at_random_moments_is_finished_too(tmp_path, bucket):
    killed(tmp_path, bucket(frames()), range(4))
    killed(tmp_path, bucket(with_sound()), range(10, 12))


@pytest.mark.soak
def test_100_fetches_from_a_folder_killed_at_random_are_all_finished(tmp_path, folder):
    print("from a folder:", killed(tmp_path, folder(with_sound()), range(100, 200)))


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_200_fetches_from_a_real_server_killed_at_random_are_all_finished(tmp_path, bucket):
    print("from SeaweedFS:", killed(tmp_path, bucket(with_sound()), range(200, 400)))
