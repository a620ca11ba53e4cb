"""kill -9 at random moments of a real send, in a process of its own over a real store: the same command finishes it."""

import random
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import pytest

from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, parse_manifest
from relay.model import Digest, digest_of
from relay.store.keys import object_key
from relay.store.port import Store
from tests.faults.send_child import store_of
from tests.faults.send_house import hashes_on_disk, lay_out
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
    cut: int  # rounds in which a send was killed before its end
    again: int  # objects that were in flight at a kill and were sent once more

    def __str__(self) -> str:
        return f"{self.rounds} rounds, {self.cut} cut short, {self.again} objects in flight sent again"


class House(NamedTuple):
    """One site's folder, notebook and log of PUTs, and a store that is empty at first."""

    folder: Path
    base: Path
    where: list[str]

    def send(self) -> subprocess.Popen[str]:
        places = [self.folder, self.base / "notes", self.base / "log"]
        command = [sys.executable, "-m", "tests.faults.send_child", *places, str(HANDS), *self.where]
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
            runs[-1].append(line)
        return runs


def killed_after(house: House, puts: int, wait: float) -> bool:
    """Start a send, kill it `wait` seconds after it began its PUT number `puts`; False if it had finished before."""
    earlier = len(house.lines())
    process = house.send()
    while process.poll() is None and sum(line.what == "begun" for line in house.lines()[earlier:]) < puts:
        time.sleep(0.002)
    time.sleep(wait)
    process.kill()
    output, errors = process.communicate()
    assert process.returncode in {0, -9}, output + errors
    return process.returncode == -9


def finished(house: House) -> Digest:
    output, errors = (process := house.send()).communicate(timeout=300)
    assert process.returncode == 0, errors
    return Digest(output.strip())


def in_flight(run: list[Line]) -> set[str]:
    """What each hand was at last: its answer may not have been noted yet. All before that was noted."""
    ready, *puts = run
    if any(line.hand == ready.hand for line in puts):
        puts = [line for line in puts if line.hand == ready.hand]  # the manifest, once all hands are at rest
    return set({line.hand: line.key for line in puts}.values())


def check_nothing_was_sent_twice(house: House) -> int:
    """Each run may send again only what was in flight when an earlier one was killed. Return how much that was."""
    settled: set[str] = set()
    for run in house.runs():
        begun = [line.key for line in run if line.what == "begun"]
        assert len(begun) == len(set(begun))
        assert not settled & set(begun), "an object whose answer was noted was sent again"
        flying = in_flight(run)
        assert len(flying) <= HANDS
        settled |= {line.key for line in run if line.what == "answered"} - flying
    puts = [line.key for line in house.lines() if line.what == "begun"]
    again = len(puts) - len(set(puts))
    assert again <= HANDS * (len(house.runs()) - 1)
    return again


def check_whole(store: Store, digest: Digest, folder: Path) -> None:
    manifest = parse_manifest(store.read(object_key(digest)))
    assert {file.path: file.digest for file in manifest.files} == hashes_on_disk(folder)
    for name in manifest.objects():
        assert digest_of(store.read(object_key(name))) == name
    keys = {object_key(name) for name in manifest.objects()} | {object_key(digest)}
    assert {listed.key for listed in store.list("by-digest/")} == keys


def kill_and_finish(seed: int, folder: Path, base: Path, where: list[str]) -> Toll:
    dice = random.Random(seed)
    house = House(folder, base, where)
    objects = len(set(hashes_on_disk(folder).values()))
    kills = [
        killed_after(house, dice.randint(0, objects), dice.random() ** 2 * 0.05) for _ in range(dice.choice([1, 1, 2]))
    ]
    digest = finished(house)
    check_whole(store_of(*where), digest, folder)
    with closing(sqlite3.connect(base / "notes")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    return Toll(1, any(kills), check_nothing_was_sent_twice(house))


@pytest.fixture(scope="module")
def reel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    dice = random.Random(20)
    frames = {f"frames/A_R01.{86400 + n:07d}.dpx": dice.randbytes(dice.randint(1, 300_000)) for n in range(80)}
    return lay_out(tmp_path_factory.mktemp("reel") / "A-R01", frames)


@pytest.fixture(scope="module")
def reel_with_sound(reel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, with a sound file that goes in chunks."""
    folder = tmp_path_factory.mktemp("reel") / "A-R01"
    shutil.copytree(reel, folder)
    with (folder / "mix.wav").open("wb") as sound:
        for place in range(0, WHOLE_LIMIT + 5, CHUNK_SIZE):
            sound.seek(place)
            sound.write(place.to_bytes(5, "big"))
    return folder


def killed(tmp_path: Path, reel: Path, seeds: range, where: Callable[[Path], list[str]]) -> Toll:
    tolls = []
    for seed in seeds:
        base = tmp_path / str(seed)
        base.mkdir()
        try:
            tolls.append(kill_and_finish(seed, reel, base, where(base)))
        except BaseException as fault:
            fault.add_note(f"seed {seed}")
            raise
        shutil.rmtree(base)
    toll = Toll(*(sum(column) for column in zip(*tolls, strict=True)))
    assert toll.cut > toll.rounds * 0.7, f"too few kills struck a send under way: {toll}"
    return toll


def in_a_folder(base: Path) -> list[str]:
    return ["directory", str(base / "bucket")]


def in_a_bucket(server: S3Server) -> Callable[[Path], list[str]]:
    return lambda _: ["s3", server.bucket(), server.endpoint, server.access_key, server.secret_key]


def test_a_send_killed_at_random_moments_is_finished_by_the_same_command(tmp_path, reel):
    killed(tmp_path, reel, range(5), in_a_folder)


@pytest.mark.seaweedfs
def test_a_send_to_a_real_server_killed_at_random_moments_is_finished_too(tmp_path, reel, reel_with_sound, seaweedfs):
    killed(tmp_path, reel, range(4), in_a_bucket(seaweedfs))
    killed(tmp_path, reel_with_sound, range(10, 11), in_a_bucket(seaweedfs))


@pytest.mark.soak
def test_100_sends_into_a_folder_killed_at_random_are_all_finished(tmp_path, reel_with_sound):
    print("into a folder:", killed(tmp_path, reel_with_sound, range(100, 200), in_a_folder))


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_200_sends_to_a_real_server_killed_at_random_are_all_finished(tmp_path, reel_with_sound, seaweedfs):
    print("to SeaweedFS:", killed(tmp_path, reel_with_sound, range(200, 400), in_a_bucket(seaweedfs)))
