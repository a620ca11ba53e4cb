"""How a folder lands: cloned where the disk can, synced the way the disk needs, complete or not at all."""

import ctypes
import errno
import os
import random
import threading

import pytest

from relay.errors import BrokenError, TransientError
from relay.transfer import durable
from relay.transfer.direct import set_aside, write_straight
from relay.transfer.fetch import fetch
from relay.transfer.landing import landing
from relay.transfer.notebook import Notebook
from relay.transfer.reflink import cloned
from tests.contracts.memory_store import MemoryStore
from tests.faults.disks import memory_disk, or_skip, own_disk
from tests.faults.fetch_house import hidden_in, lies_at, stored
from tests.unit.transfer.test_fetch_package import check_apart, sound

FRAMES = {f"frames/A_R01.{n:07d}.dpx": random.Random(n).randbytes(3_000_000 + n) for n in range(8)}


def free(disk) -> int:
    os.sync()
    state = os.statvfs(disk)
    return state.f_bavail * state.f_frsize


class TestOnADiskThatClones:
    """XFS, made for the test. Whether blocks are shared is seen from the room that they take."""

    def test_an_earlier_version_takes_no_room_again_and_edits_stay_apart(self, tmp_path):
        store = MemoryStore()
        manifest = stored(store, FRAMES)
        with or_skip(), own_disk(tmp_path, "xfs") as disk, Notebook(tmp_path / "notes") as notebook:
            fetch(manifest, store, disk / "v1", notebook)
            before = free(disk)
            fetched = fetch(manifest, MemoryStore(), disk / "v2", notebook, earlier={disk / "v1": manifest})
            assert before - free(disk) < 2_000_000
            assert (fetched.fetched_objects, fetched.reused_bytes) == (0, manifest.size())
            assert lies_at(disk / "v2") == FRAMES
            check_apart(disk / "v1", disk / "v2", FRAMES)

    def test_a_clone_of_an_edited_file_is_found_out_and_fetched(self, tmp_path):
        store = MemoryStore()
        manifest = stored(store, FRAMES)
        with or_skip(), own_disk(tmp_path, "xfs") as disk, Notebook(tmp_path / "notes") as notebook:
            fetch(manifest, store, disk / "v1", notebook)
            one, two, three, four = (disk / "v1" / path for path in sorted(FRAMES)[:4])
            one.write_bytes(b"cut short")
            two.write_bytes(two.read_bytes() + b"lengthened")
            three.write_bytes(three.read_bytes()[::-1])
            four.write_bytes(b"")
            fetched = fetch(manifest, store, disk / "v2", notebook, earlier={disk / "v1": manifest})
            assert lies_at(disk / "v2") == FRAMES
            assert fetched.fetched_objects == 3  # what was lengthened still begins with the frame

    def test_chunks_are_cloned_one_by_one(self, tmp_path):
        body = sound()
        changed = body[:-1] + b"!"
        store = MemoryStore()
        old, new = stored(store, {"mix.wav": body}), stored(store, {"mix.wav": changed})
        with or_skip(), own_disk(tmp_path, "xfs", 640 * 2**20) as disk, Notebook(tmp_path / "notes") as notebook:
            fetch(old, store, disk / "v1", notebook)
            fetched = fetch(new, store, disk / "v2", notebook, earlier={disk / "v1": old})
            assert lies_at(disk / "v2") == {"mix.wav": changed}
            assert fetched.fetched_objects == 1

    def test_room_is_not_asked_for_what_will_be_cloned(self, tmp_path):
        """Twice 160 MB fit into a disk of 320 MB only where the second shares the blocks of the first."""
        files = {f"{n}.dpx": random.Random(n).randbytes(20_000_000) for n in range(8)}
        store = MemoryStore()
        manifest = stored(store, files)
        with or_skip(), own_disk(tmp_path, "xfs") as disk, Notebook(tmp_path / "notes") as notebook:
            fetch(manifest, store, disk / "v1", notebook)
            with pytest.raises(TransientError, match="Nothing was begun"):
                fetch(manifest, store, disk / "v2", notebook)
            assert fetch(manifest, store, disk / "v2", notebook, earlier={disk / "v1": manifest}).whole


def test_a_disk_that_cannot_clone_says_so_and_changes_nothing(tmp_path):
    with or_skip(), memory_disk(tmp_path / "disk", 1_000_000) as disk:
        (disk / "one").write_bytes(b"x" * 8192)
        (disk / "two").write_bytes(b"")
        one, two = os.open(disk / "one", os.O_RDONLY), os.open(disk / "two", os.O_RDWR)
        try:
            assert not cloned(one, 0, 8192, two, 0)
        finally:
            os.close(one)
            os.close(two)
        assert (disk / "two").read_bytes() == b""


class TestWritingStraightToTheDisk:
    @pytest.mark.parametrize("size", [1_048_576, 1_048_577, 1_100_000, 4_194_303])
    @pytest.mark.parametrize("offset", [0, 4096, 100])
    def test_every_byte_lies_where_it_belongs(self, tmp_path, size, offset):
        body = random.Random(size).randbytes(size)
        path = tmp_path / "file"
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT)
        try:
            write_straight(descriptor, memoryview(bytearray(body)), offset)  # most likely not where blocks begin
            write_straight(descriptor, memoryview(b"tail"), offset + size)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        assert path.read_bytes() == bytes(offset) + body + b"tail"

    def test_a_file_set_aside_has_its_size_and_reads_as_zeros(self, tmp_path):
        descriptor = os.open(tmp_path / "file", os.O_RDWR | os.O_CREAT)
        try:
            os.pwrite(descriptor, b"old and too long", 0)
            set_aside(descriptor, 3)
            set_aside(descriptor, 10_000)
        finally:
            os.close(descriptor)
        assert (tmp_path / "file").read_bytes() == b"old" + bytes(9_997)

    def test_no_room_to_set_aside_is_said_at_once(self, tmp_path):
        with or_skip(), memory_disk(tmp_path / "disk", 1_000_000) as disk:
            descriptor = os.open(disk / "file", os.O_RDWR | os.O_CREAT)
            try:
                with pytest.raises(OSError, match="No space left"):
                    set_aside(descriptor, 2_000_000)
            finally:
                os.close(descriptor)


class FailingLibrary:
    """The C library on a disk that loses what it is told to keep."""

    def __init__(self, library: ctypes.CDLL) -> None:
        self._library = library

    def syncfs(self, _descriptor: int) -> int:
        ctypes.set_errno(errno.EIO)
        return -1

    def __getattr__(self, name: str) -> object:
        return getattr(self._library, name)


@pytest.mark.parametrize("how", ["at once", "each"])
def test_after_a_failed_sync_nothing_that_landed_is_believed_again(how, tmp_path, monkeypatch):
    """A system says once that a write failed and then shows what it had in memory as if it were on the disk."""
    if how == "at once":
        monkeypatch.setattr(durable, "_LIBC", FailingLibrary(durable._LIBC))
        monkeypatch.setattr(durable, "_SYNCED_WHOLE", frozenset({durable._kind_of_disk(tmp_path)}))
    else:
        monkeypatch.setattr(durable, "_SYNCED_WHOLE", frozenset())
        monkeypatch.setattr(os, "fsync", failing_fsync)
    store = MemoryStore()
    manifest = stored(store, FRAMES)
    with Notebook(tmp_path / "notes") as notebook:
        with pytest.raises(BrokenError, match="Input/output error"):
            fetch(manifest, store, tmp_path / "arrived", notebook)
        assert not (tmp_path / "arrived").exists()
        assert hidden_in(tmp_path) == []
        monkeypatch.undo()
        assert fetch(manifest, store, tmp_path / "arrived", notebook).kept_bytes == 0


def failing_fsync(_descriptor: int) -> None:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


def test_only_disks_that_are_known_to_tell_are_synced_all_at_once(tmp_path):
    with or_skip(), memory_disk(tmp_path / "disk", 1_000_000) as disk:
        syncing = durable.Syncing(disk)
        assert not syncing._all_at_once
        syncing.close()
    with or_skip(), own_disk(tmp_path, "ext4") as disk:
        syncing = durable.Syncing(disk)
        assert syncing._all_at_once
        syncing.close()


def test_a_landing_with_a_file_too_few_or_too_many_is_never_published(tmp_path):
    with landing(tmp_path / "arrived", {"a.dpx": 3}) as place:
        place.tidy()
        with pytest.raises(BrokenError, match=r"a\.dpx: found nothing, expected 3 bytes"):
            place.publish()
        place.write("a.dpx", 0, memoryview(b"abc"))
        (place.folder / "stranger").write_bytes(b"?")
        with pytest.raises(BrokenError, match="stranger: found 1 bytes, expected nothing"):
            place.publish()
        (place.folder / "stranger").unlink()
        (place.folder / ".DS_Store").write_bytes(b"a file browser was here")
        place.publish()
    assert lies_at(tmp_path / "arrived") == {"a.dpx": b"abc"}


def test_a_folder_that_is_landing_is_locked_until_it_ends(tmp_path):
    refused = []

    def other() -> None:
        try:
            with landing(tmp_path / "arrived", {}):
                pass
        except TransientError as error:
            refused.append(error)

    with landing(tmp_path / "arrived", {}):
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
    assert len(refused) == 1
    with landing(tmp_path / "arrived", {}):
        pass
