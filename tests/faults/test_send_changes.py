"""A source that changes under the sender's hands: at every moment, in every way, it is refused and named.

Nothing outside says what the right answer is but the bytes on the disk, hashed here by hashlib alone.
"""

import os
import random
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.deposit import Deposit, deposit
from relay.transfer.notebook import Notebook
from relay.transfer.progress import Unwatched
from tests.contracts.memory_store import MemoryStore
from tests.faults.send_house import LaterClock, Watched, false_objects, hashes_on_disk, lay_out, manifests_in, package

Meddler = Callable[[], None]

MOMENTS = ("surveyed", "half read", "hashed", "sent", "other hashed", "other sent", "between sends")
WAYS = 12


class Mischief:
    """Changes one file of a package, once, in the way number `way`; `names` are those it may be called by."""

    def __init__(self, folder: Path, aside: Path, dice: random.Random, way: int) -> None:
        self.path = dice.choice(sorted(path for path in folder.rglob("*") if path.is_file()))
        self.names = [self._name(folder, self.path)]
        self.done = False
        self._folder = folder
        self._aside = aside
        self._dice = dice
        ways = [self.append, self.replace, self.remove, self.add, self.link, self.pipe, self.folder]
        if self.path.stat().st_size:
            ways += [self.flip, self.flip_and_put_time_back, self.rewrite, self.cut, self.swap]
        self.way = ways[way % len(ways)]

    def __call__(self) -> None:
        if not self.done:
            self.done = True
            self.way()

    def flip(self) -> None:
        with self.path.open("r+b") as file:
            place = self._dice.randrange(self.path.stat().st_size)
            file.seek(place)
            old = file.read(1)[0]
            file.seek(place)
            file.write(bytes([old ^ 1 << self._dice.randrange(8)]))

    def flip_and_put_time_back(self) -> None:
        before = self.path.stat()
        self.flip()
        os.utime(self.path, ns=(before.st_atime_ns, before.st_mtime_ns))
        assert self.path.stat().st_mtime_ns == before.st_mtime_ns

    def rewrite(self) -> None:
        before = self.path.stat()
        with self.path.open("r+b") as file:
            file.write(self._dice.randbytes(before.st_size))
        os.utime(self.path, ns=(before.st_atime_ns, before.st_mtime_ns))

    def cut(self) -> None:
        os.truncate(self.path, self.path.stat().st_size - 1)

    def append(self) -> None:
        with self.path.open("ab") as file:
            file.write(b"x")

    def replace(self) -> None:
        self._aside.write_bytes(self._dice.randbytes(self.path.stat().st_size or 1))
        self._aside.rename(self.path)

    def swap(self) -> None:
        others = [
            path for path in self._folder.rglob("*") if path.is_file() and path.read_bytes() != self.path.read_bytes()
        ]
        other = self._dice.choice(others)
        self.names.append(self._name(self._folder, other))
        self.path.rename(self._aside)
        other.rename(self.path)
        self._aside.rename(other)

    def remove(self) -> None:
        self.path.unlink()

    def add(self) -> None:
        added = self._folder / "frames" / "A_R01.0099999.dpx"
        self.names = [self._name(self._folder, added)]
        added.write_bytes(b"late")

    def link(self) -> None:
        self.path.rename(self._aside)
        self.path.symlink_to(self._aside)

    def pipe(self) -> None:
        self.path.unlink()
        os.mkfifo(self.path)

    def folder(self) -> None:
        self.path.unlink()
        self.path.mkdir()

    @staticmethod
    def _name(folder: Path, path: Path) -> str:
        return path.relative_to(folder).as_posix()


class Onlooker(Unwatched):
    """Meddles as soon as the folder was surveyed."""

    def __init__(self, meddle: Meddler) -> None:
        self._meddle = meddle

    def expect(self, files: int, size: int) -> None:
        self._meddle()


@pytest.fixture
def half_reads(monkeypatch):
    """Let the operating system hand over files in two halves, with whatever happens in between."""
    happens: dict[int, Meddler] = {}
    preadv = os.preadv

    def in_halves(handle: int, buffers: list[memoryview], offset: int) -> int:
        meddle = happens.get(os.fstat(handle).st_ino)
        if meddle is None or len(buffers[0]) < 2:
            return preadv(handle, buffers, offset)
        count = preadv(handle, [buffers[0][: len(buffers[0]) // 2]], offset)
        meddle()
        return count

    monkeypatch.setattr(os, "preadv", in_halves)
    return happens


def sent(folder: Path, store: object, notebook: Notebook, **options: object) -> Deposit:
    return deposit(folder, store, notebook, hands=3, **options)


def check_refused_and_then_whole(
    send: Callable[[], Deposit], store: MemoryStore, mischief: Mischief, folder: Path
) -> None:
    accepted_before = manifests_in(store)
    before = {object_key(digest) for digest in hashes_on_disk(folder).values()} | store._objects.keys()
    with pytest.raises(RefusedError) as refused:
        send()
    assert mischief.done
    assert any(name in str(refused.value) for name in mischief.names), (mischief.names, str(refused.value))
    assert manifests_in(store) == accepted_before
    assert false_objects(store) == []
    after = {object_key(digest) for digest in hashes_on_disk(folder).values()}
    assert store._objects.keys() <= before | after, "a file was sent half as it was before and half as it was after"
    if not (mischief.path.is_symlink() or mischief.path.is_fifo()):
        check_holds(send(), folder, store)


def check_holds(done: Deposit, folder: Path, store: MemoryStore) -> None:
    """The manifest says what lies on the disk, and all of that is in the store."""
    assert {file.path: file.digest for file in done.manifest.files} == hashes_on_disk(folder)
    assert all(digest_of(store.read(object_key(digest))) == digest for digest in done.manifest.objects())
    assert store.read(object_key(done.manifest.digest())) == done.manifest.encode()
    assert false_objects(store) == []


def changed_while_sending(seed: int, base: Path, half_reads: dict[int, Meddler]) -> None:
    """One case: a change after the survey, before or while or after the file is read, hashed, or sent."""
    dice = random.Random(seed)
    folder = lay_out(base / "reel", package(seed))
    inner = MemoryStore()
    mischief = Mischief(folder, base / "aside", dice, seed // 7)
    target = object_key(digest_of(mischief.path.read_bytes()))
    others = [object_key(digest) for digest in hashes_on_disk(folder).values()]
    moment = MOMENTS[seed % len(MOMENTS)]
    key = target if moment in {"hashed", "sent"} else dice.choice(others)
    store: object = inner
    watcher = Unwatched()
    match moment:
        case "surveyed":
            watcher = Onlooker(mischief)
        case "half read" if mischief.path.stat().st_size > 1:
            half_reads[mischief.path.stat().st_ino] = mischief
        case "hashed" | "other hashed":
            store = Watched(inner, before=lambda found: mischief() if found == key else None)
        case _:
            store = Watched(inner, after=lambda found: mischief() if found == key else None)
    with Notebook(base / "notes") as notebook:
        check_refused_and_then_whole(lambda: sent(folder, store, notebook, watcher=watcher), inner, mischief, folder)
    half_reads.clear()


def changed_between_sends(seed: int, base: Path) -> None:
    """One case: the notebook knows every file; then one changes, between two sends or right after the survey."""
    dice = random.Random(seed)
    folder = lay_out(base / "reel", package(seed))
    store = MemoryStore()
    with Notebook(base / "notes") as notebook:
        first = sent(folder, store, notebook, clock=LaterClock())
        assert sent(folder, store, notebook, clock=LaterClock()).hashed_bytes == 0
        mischief = Mischief(folder, base / "aside", dice, seed // 7)
        if dice.random() < 0.5:
            watcher = Onlooker(mischief)
            check_refused_and_then_whole(
                lambda: sent(folder, store, notebook, clock=LaterClock(), watcher=watcher), store, mischief, folder
            )
            return
        before = hashes_on_disk(folder)
        mischief()
        if mischief.path.is_symlink() or mischief.path.is_fifo():
            with pytest.raises(RefusedError, match=mischief.path.name):
                sent(folder, store, notebook, clock=LaterClock())
            return
        second = sent(folder, store, notebook, clock=LaterClock())
        check_holds(second, folder, store)
        # One byte that was thrown anew may well be the byte that it was.
        assert (second.manifest == first.manifest) == (hashes_on_disk(folder) == before)


def run_cases(tmp_path: Path, seeds: range, half_reads: dict[int, Meddler]) -> None:
    for seed in seeds:
        base = tmp_path / str(seed)
        base.mkdir()
        try:
            if MOMENTS[seed % len(MOMENTS)] != "between sends":
                changed_while_sending(seed, base, half_reads)
            else:
                changed_between_sends(seed, base)
        except BaseException as fault:
            fault.add_note(f"seed {seed}")
            raise


def test_a_source_that_changes_at_any_moment_is_refused_and_named(tmp_path, half_reads):
    run_cases(tmp_path, range(2 * WAYS * len(MOMENTS)), half_reads)


@pytest.mark.soak
def test_of_7000_sources_that_change_none_is_accepted(tmp_path, half_reads):
    run_cases(tmp_path, range(1000, 8000), half_reads)


def test_a_change_after_the_manifest_was_made_leaves_a_whole_version_of_what_was_read(tmp_path):
    folder = lay_out(tmp_path / "reel", package(1))
    before = hashes_on_disk(folder)
    inner = MemoryStore()
    mischief = Mischief(folder, tmp_path / "aside", random.Random(1), 1)
    known = {object_key(digest) for digest in before.values()}
    store = Watched(inner, before=lambda key: mischief() if key not in known else None)
    with Notebook(tmp_path / "notes") as notebook:
        done = sent(folder, store, notebook)
    assert mischief.done
    assert {file.path: file.digest for file in done.manifest.files} == before
    assert false_objects(inner) == []


def test_a_hash_is_not_believed_later_when_the_file_was_young(tmp_path):
    """A page that a program holds mapped changes without moving the file's times: only rest makes a hash good."""
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"young"})
    store = MemoryStore()
    with Notebook(tmp_path / "notes") as notebook:
        for clock, hashed in (
            (SYSTEM_CLOCK, 5),
            (LaterClock(timedelta(seconds=30)), 5),
            (LaterClock(), 5),
            (LaterClock(), 0),
        ):
            assert sent(folder, store, notebook, clock=clock).hashed_bytes == hashed
        assert sent(folder, store, notebook, clock=LaterClock(), rehash=True).hashed_bytes == 5
