"""kill -9 at random moments of a real send, in a process of its own over a real store: the same command finishes it."""

import random
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest

from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, parse_manifest
from relay.model import Digest, digest_of
from relay.store.keys import object_key
from relay.store.port import Store
from tests.faults.killing import HANDS, Line, Log, Toll, finished, killed_after, last_of_each_hand, rounds, started
from tests.faults.send_child import store_of
from tests.faults.send_house import hashes_on_disk, lay_out
from tests.servers.s3 import S3Server


class House(NamedTuple):
    """One site's folder, notebook and log of PUTs, and a store that is empty at first."""

    folder: Path
    base: Path
    where: list[str]

    @property
    def log(self) -> Log:
        return Log(self.base / "log")

    def send(self) -> subprocess.Popen[str]:
        places = [self.folder, self.base / "notes", self.log.path]
        return started("send_child", *places, str(HANDS), *self.where)


def in_flight(run: list[Line]) -> set[str]:
    ready, *puts = run
    if any(line.hand == ready.hand for line in puts):
        puts = [line for line in puts if line.hand == ready.hand]  # the manifest, once all hands are at rest
    return last_of_each_hand(puts, HANDS + HANDS // 2)  # half as many again read ahead


def check_nothing_was_sent_twice(log: Log) -> None:
    """Each run may send again only what was in flight when an earlier one was killed."""
    settled: set[str] = set()
    for run in log.runs():
        begun = [line.key for line in run if line.what == "begun"]
        assert len(begun) == len(set(begun))
        assert not settled & set(begun), "an object whose answer was noted was sent again"
        settled |= {line.key for line in run if line.what == "answered"} - in_flight(run)


def check_whole(store: Store, digest: Digest, folder: Path) -> None:
    manifest = parse_manifest(store.read(object_key(digest)))
    assert {file.path: file.digest for file in manifest.files} == hashes_on_disk(folder)
    for name in manifest.objects():
        assert digest_of(store.read(object_key(name))) == name
    keys = {object_key(name) for name in manifest.objects()} | {object_key(digest)}
    assert {listed.key for listed in store.list("by-digest/")} == keys


def kill_and_finish(folder: Path, where: Callable[[Path], list[str]], dice: random.Random, base: Path) -> Toll:
    house = House(folder, base, where(base))
    objects = len(set(hashes_on_disk(folder).values()))
    kills = [
        killed_after(house.send, house.log, dice.randint(0, objects), dice.random() ** 2 * 0.05)
        for _ in range(dice.choice([1, 1, 2]))
    ]
    digest = Digest(finished(house.send()).strip())
    check_whole(store_of(*house.where), digest, folder)
    with closing(sqlite3.connect(base / "notes")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    check_nothing_was_sent_twice(house.log)
    return Toll(1, any(kills), house.log.carried_again())


def killed(tmp_path: Path, reel: Path, seeds: range, where: Callable[[Path], list[str]]) -> Toll:
    return rounds(tmp_path, seeds, partial(kill_and_finish, reel, where), 0.7)


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


def in_a_folder(base: Path) -> list[str]:
    return ["directory", str(base / "bucket")]


def in_a_bucket(server: S3Server) -> Callable[[Path], list[str]]:
    return lambda _: ["s3", server.bucket(), server.endpoint, server.access_key, server.secret_key]


def test_a_send_killed_at_random_moments_is_finished_by_the_same_command(tmp_path, reel):
    killed(tmp_path, reel, range(4), in_a_folder)


@pytest.mark.seaweedfs
def test_a_send_to_a_real_server_killed_at_random_moments_is_finished_too(tmp_path, reel, reel_with_sound, seaweedfs):
    killed(tmp_path, reel, range(2), in_a_bucket(seaweedfs))
    killed(tmp_path, reel_with_sound, range(10, 11), in_a_bucket(seaweedfs))


@pytest.mark.soak
def test_100_sends_into_a_folder_killed_at_random_are_all_finished(tmp_path, reel_with_sound):
    print("into a folder:", killed(tmp_path, reel_with_sound, range(100, 200), in_a_folder))


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_200_sends_to_a_real_server_killed_at_random_are_all_finished(tmp_path, reel_with_sound, seaweedfs):
    print("to SeaweedFS:", killed(tmp_path, reel_with_sound, range(200, 400), in_a_bucket(seaweedfs)))
