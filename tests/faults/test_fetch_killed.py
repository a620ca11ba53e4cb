"""kill -9 at random moments of a real fetch, a process of its own over a real store: the same command finishes it."""

import json
import random
import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest

from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, Manifest
from tests.faults.fetch_house import hidden_in, lies_at, stored
from tests.faults.killing import HANDS, Log, Toll, finished, killed_after, last_of_each_hand, rounds, started
from tests.faults.send_child import store_of
from tests.servers.s3 import S3Server


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

    @property
    def log(self) -> Log:
        return Log(self.base / "log")

    def fetch(self) -> subprocess.Popen[str]:
        (self.base / "manifest").write_bytes(self.reel.manifest.encode())
        places = [self.base / "manifest", self.target, self.base / "notes", self.log.path]
        return started("fetch_child", *places, str(HANDS), *self.reel.where)


def check_whole_or_absent(house: House) -> None:
    if house.target.exists():
        assert lies_at(house.target) == house.reel.files, "something half-written has the final name"


def check_nothing_was_fetched_twice(log: Log) -> None:
    """Each run may fetch again only what was in flight when an earlier one was killed."""
    settled: set[str] = set()
    for _ready, *lines in log.runs():
        begun = [line.key for line in lines if line.what == "begun"]
        assert len(begun) == len(set(begun))
        assert not settled & set(begun), "an object that had landed was fetched again"
        settled |= set(begun) - last_of_each_hand(lines)


def kill_and_finish(reel: Reel, dice: random.Random, base: Path) -> Toll:
    house = House(reel, base)
    objects = len(reel.manifest.objects())
    kills = []
    for _ in range(dice.choice([1, 1, 2])):
        kills.append(killed_after(house.fetch, house.log, dice.randint(0, objects), dice.random() ** 2 * 0.05))
        check_whole_or_absent(house)
    assert json.loads(finished(house.fetch()))["whole"]
    assert lies_at(house.target) == reel.files
    assert hidden_in(base) == []
    check_nothing_was_fetched_twice(house.log)
    return Toll(1, any(kills), house.log.carried_again())


def killed(tmp_path: Path, reel: Reel, seeds: range) -> Toll:
    return rounds(tmp_path, seeds, partial(kill_and_finish, reel), 0.6)


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
    killed(tmp_path, folder(frames()), range(4))


@pytest.mark.seaweedfs
def test_a_fetch_from_a_real_server_killed_at_random_moments_is_finished_too(tmp_path, bucket):
    killed(tmp_path, bucket(frames()), range(2))
    killed(tmp_path, bucket(with_sound()), range(10, 11))


@pytest.mark.soak
def test_100_fetches_from_a_folder_killed_at_random_are_all_finished(tmp_path, folder):
    print("from a folder:", killed(tmp_path, folder(with_sound()), range(100, 200)))


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_200_fetches_from_a_real_server_killed_at_random_are_all_finished(tmp_path, bucket):
    print("from SeaweedFS:", killed(tmp_path, bucket(with_sound()), range(200, 400)))
