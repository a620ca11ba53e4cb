"""The one place where files come to their final names: gathered in a hidden folder, on the disk, then renamed whole.

The hidden folder lies beside the target, so that one rename gives everything in it its final name at once. What is
in it has no promise to keep: it may be half-written by a run that was killed, and counts only once it was read again.
So its files need no other names until they are complete. See docs/decisions/durable-landing.md.
"""

import errno
import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

from relay.errors import BrokenError, RelayError, TransientError
from relay.media.names import is_litter
from relay.store.folder import in_our_words
from relay.transfer.direct import set_aside, write_straight
from relay.transfer.durable import Syncing, sync_folder
from relay.transfer.notebook import Stamp, stamp_of
from relay.transfer.reflink import cloned
from relay.transfer.target import check_free, held, hidden_beside, in_the_way, is_taken, resolved
from relay.transfer.tree import READ, folders_above, pread_into, tree

_WRITE = os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC


@contextmanager
def landing(target: Path, sizes: Mapping[str, int]) -> Iterator["Landing"]:
    """Open the hidden folder for `target`, for this run alone; what was written stays when this ends without `publish`.

    `target` must not exist, or be an empty folder; its parent must exist, since a drive may be missing there.
    """
    target = resolved(target)
    folder = hidden_beside(target)
    check_free(target)
    with held(folder):
        check_free(target)  # whoever held the folder before may have landed just now
        opened = Landing(target, folder, sizes)
        try:
            yield opened
        finally:
            opened.close()


class Landing:
    """A folder of files, known by their paths and sizes in bytes, that is to appear at `target` all at once."""

    def __init__(self, target: Path, folder: Path, sizes: Mapping[str, int]) -> None:
        self.target = target
        self.folder = folder
        self._root = f"{folder}{os.sep}"
        self._sizes = dict(sizes)
        self._folders = {folder for path in sizes for folder in folders_above(path)}
        self._device = folder.stat().st_dev
        self._syncing = Syncing(folder)

    def close(self) -> None:
        """Let go of the hidden folder, and leave no empty ones behind."""
        self._syncing.close()
        for folder in [*sorted(self._folders, reverse=True), ""]:
            with suppress(OSError):  # it holds something, or all of it has its final name by now
                (self.folder / folder).rmdir()

    def tidy(self) -> set[str]:
        """Make all folders, remove what an earlier run left and this one has no use for; return the files it may use.

        They have their full size; whether they hold the right bytes is for the caller to find out.
        """
        with self._doing("make it ready"):
            found = dict(tree(self.folder))
            for path in sorted(found, reverse=True):  # what a folder holds goes before the folder
                self._remove_unless_used(path, found[path])
            for folder in sorted(self._folders):
                (self.folder / folder).mkdir(exist_ok=True)
        left = {path: status for path, status in found.items() if path in self._sizes and stat.S_ISREG(status.st_mode)}
        for path, status in left.items():
            if status.st_size != self._sizes[path]:
                self.lengthen(path)
        return set(left)

    def _remove_unless_used(self, path: str, status: os.stat_result) -> None:
        if stat.S_ISDIR(status.st_mode):
            if path not in self._folders:
                (self.folder / path).rmdir()
        elif path not in self._sizes or not stat.S_ISREG(status.st_mode):
            (self.folder / path).unlink()

    def check_room(self, size: int) -> None:
        """Refuse to begin when fewer than `size` bytes are free where the files are to land."""
        with self._doing("ask for the free space"):
            disk = os.statvfs(self.folder)
        free = disk.f_bavail * disk.f_frsize
        if size > free:
            raise TransientError(
                f"{self.target} needs {size:,} bytes more, where only {free:,} are free. "
                "Nothing was begun. Make room there, then run the same command again."
            )

    def allocated(self, path: str) -> int:
        """Return for how many bytes of `path` the disk has room set aside already."""
        with self._doing(f"look at {path}"):
            status = (self.folder / path).lstat()
        return min(status.st_blocks * 512, self._sizes[path])

    def may_clone(self, source: Path) -> bool:
        """Answer whether a clone of `source` is likely to take no room here. It may still fail, and be a copy."""
        with suppress(OSError):
            return self._syncing.disk_clones and source.stat().st_dev == self._device
        return False

    def stamps(self) -> dict[str, Stamp]:
        """Return how each file is stamped now, while nobody but this run can have written to it."""
        with self._doing("look through it"):
            return {path: stamp_of(os.lstat(self._root + path)) for path in self._sizes}

    def lengthen(self, path: str) -> None:
        """Cut or lengthen `path` to its size, so that its pieces can be written in any order, with holes between."""
        with self._opened(path, _WRITE) as descriptor, self._doing(f"lengthen {path}"):
            set_aside(descriptor, self._sizes[path])

    def write(self, path: str, offset: int, body: memoryview) -> None:
        """Write `body` into `path` at `offset` bytes."""
        with self._writable(path, offset, len(body)) as descriptor:
            with self._doing(f"write {path}"):
                write_straight(descriptor, body, offset)
            self._syncing.start(descriptor, offset, len(body))

    def add(self, path: str, body: bytes) -> None:
        """Write one more file, which nobody knew of when the landing began."""
        self._sizes[path] = len(body)
        self._folders.update(folders_above(path))
        with self._doing(f"make room for {path}"):
            (self.folder / path).parent.mkdir(parents=True, exist_ok=True)
        self.write(path, 0, memoryview(body))

    def read(self, path: str, offset: int, buffer: memoryview) -> int:
        """Fill `buffer` from `path` at `offset` bytes, and return how much of it is filled."""
        with self._opened(path, READ) as descriptor, self._doing(f"read {path}"):
            return pread_into(descriptor, buffer, offset)

    def clone(self, path: str, offset: int, size: int, source: int, source_offset: int) -> bool:
        """Let `size` bytes of the open file `source` stand in `path`, too; False where the disk cannot clone."""
        with self._writable(path, offset, size) as descriptor, self._doing(f"clone {path}"):
            return cloned(source, source_offset, size, descriptor, offset)

    def has_data(self, path: str, offset: int, size: int) -> bool:
        """Answer whether any of those bytes was ever written; they are a hole otherwise."""
        with self._opened(path, READ) as descriptor, self._doing(f"look into {path}"):
            try:
                return os.lseek(descriptor, offset, os.SEEK_DATA) < offset + size
            except OSError as fault:
                if fault.errno == errno.ENXIO:  # nothing but a hole from there to the end
                    return False
                raise

    def publish(self) -> None:
        """Bring everything to the disk, then give it its final name. Refuses unless exactly the files are there."""
        self._check_complete()
        self._sync()
        with in_our_words(str(self.target), "give the folder its name"):
            try:
                self.folder.rename(self.target)  # POSIX replaces nothing but an empty folder by a folder
            except OSError as fault:
                if is_taken(self.target):
                    raise in_the_way(self.target) from fault
                raise
            sync_folder(self.target.parent)

    def _writable(self, path: str, offset: int, size: int) -> AbstractContextManager[int]:
        is_all = offset == 0 and size == self._sizes[path]
        return self._opened(path, _WRITE | os.O_TRUNC if is_all else _WRITE)

    @contextmanager
    def _opened(self, path: str, flags: int) -> Iterator[int]:
        with self._doing(f"open {path}"):
            descriptor = os.open(self._root + path, flags, 0o666)
        try:
            yield descriptor
        finally:
            os.close(descriptor)

    @contextmanager
    def _doing(self, what: str) -> Iterator[None]:
        with in_our_words(str(self.folder), what):
            yield

    def _check_complete(self) -> None:
        with self._doing("look through it"):
            found = {path: status.st_size for path, status in tree(self.folder) if not stat.S_ISDIR(status.st_mode)}
            for path in [path for path in found if is_litter(path.rpartition("/")[2])]:
                (self.folder / path).unlink()  # somebody browsed here; it is no part of any package
                del found[path]
        for path in sorted(self._sizes.keys() | found.keys()):
            if found.get(path) != self._sizes.get(path):
                raise BrokenError(
                    f"{self.folder / path}: found {_size(found.get(path))}, expected {_size(self._sizes.get(path))}. "
                    "Someone else writes there: leave that folder alone, then run the same command again."
                )

    def _sync(self) -> None:
        folders = [*sorted(self._folders, reverse=True), ""]
        try:
            with self._doing("bring it to the disk"):
                self._syncing.finish(
                    (self.folder / each for each in self._sizes), (self.folder / each for each in folders)
                )
        except RelayError:
            # Memory may still show what the disk refused, and the error comes only once: believe nothing in here again.
            shutil.rmtree(self.folder, ignore_errors=True)
            raise


def _size(size: int | None) -> str:
    return "nothing" if size is None else f"{size} bytes"
