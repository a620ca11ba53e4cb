"""Many writers in two processes over real stores: no entry lost, none doubled, the chain whole."""

import json
import subprocess
import sys
from collections import Counter
from dataclasses import asdict
from pathlib import Path

import pytest

from relay.ledger.reading import BUNDLE
from relay.model import digest_of
from relay.store.keys import bundle_key, entry_key
from tests.faults.ledger.writers import Place, Task, told_to
from tests.servers.s3 import S3Server
from tests.unit.ledger.rig import opened
from tests.unit.ledger.scene import Told

PROCESSES = 2


def appended(place: Place, homes: Path, writers: int, entries: int) -> dict[str, str]:
    """Let `writers` append `entries` in all, and return what they were told."""
    numbers = list(range(writers))
    children = []
    for share in range(PROCESSES):
        task = Task(asdict(place), str(homes), numbers[share::PROCESSES], entries // writers)
        child = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.ledger.writers"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[3],
        )
        child.stdin.write(told_to(task))  # type: ignore[union-attr]
        child.stdin.close()  # type: ignore[union-attr]
        children.append(child)
    said: dict[str, str] = {}
    for child in children:
        answer = child.stdout.read()  # type: ignore[union-attr]
        child.stdout.close()  # type: ignore[union-attr]
        assert child.wait() == 0
        said |= json.loads(answer)
    return said


def check_race(place: Place, tmp_path: Path, writers: int, entries: int) -> None:
    store = place.open()
    founded = Told.founded()
    for slot, raw in enumerate(founded.raws):
        assert store.create(entry_key(slot), raw, digest_of(raw))

    said = appended(place, tmp_path / "homes", writers, entries)

    reader = opened(store, tmp_path / "a new site")
    state = reader.follow()
    each = entries // writers
    notes = Counter(made.note for made in state.versions.values())
    assert notes == Counter(f"{writer} {number}" for writer in range(writers) for number in range(each))
    assert len(reader.entries()) == len(founded.raws) + each * writers
    assert {digest_of(raw) for raw in reader.entries()} >= {digest for digest in said.values() if digest}
    assert len(said) == each * writers
    for first in range(0, len(reader.entries()) - BUNDLE + 1, BUNDLE):
        assert store.read(bundle_key(first, BUNDLE)) == b"".join(reader.entries()[first : first + BUNDLE])
    for home in (tmp_path / "homes").iterdir():
        assert opened(store, home).follow().projection() == state.projection()


def served(server: S3Server) -> Place:
    return Place(
        endpoint=server.endpoint,
        bucket=server.bucket(),
        access_key=server.access_key,
        secret_key=server.secret_key,
    )


def test_writers_in_a_folder_lose_and_double_nothing(tmp_path: Path) -> None:
    check_race(Place(folder=str(tmp_path / "store")), tmp_path, writers=8, entries=160)


@pytest.mark.ceph
def test_writers_on_ceph_lose_and_double_nothing(ceph: S3Server, tmp_path: Path) -> None:
    check_race(served(ceph), tmp_path, writers=8, entries=48)


@pytest.mark.seaweedfs
def test_writers_on_seaweedfs_lose_and_double_nothing(seaweedfs: S3Server, tmp_path: Path) -> None:
    check_race(served(seaweedfs), tmp_path, writers=4, entries=40)


@pytest.mark.soak
@pytest.mark.ceph
@pytest.mark.timeout(1800)
def test_32_writers_on_ceph_lose_and_double_none_of_1000_entries(ceph: S3Server, tmp_path: Path) -> None:
    check_race(served(ceph), tmp_path, writers=32, entries=1024)


@pytest.mark.soak
@pytest.mark.seaweedfs
@pytest.mark.timeout(1800)
def test_4_writers_on_seaweedfs_lose_and_double_none_of_200_entries(seaweedfs: S3Server, tmp_path: Path) -> None:
    check_race(served(seaweedfs), tmp_path, writers=4, entries=200)
