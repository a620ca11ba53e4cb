"""Is a folder what its manifest says? Every byte is read again; nothing remembered is believed."""

import os
import stat
import threading
from collections.abc import Collection, Iterator
from functools import partial
from hashlib import sha256
from pathlib import Path

from relay.errors import MissingError
from relay.media.manifest import Manifest, PackedFile
from relay.media.names import is_litter, is_ours
from relay.model import Digest
from relay.store.folder import in_our_words
from relay.transfer.faults import Fault, What, Where
from relay.transfer.hands import Piece, do_all
from relay.transfer.progress import UNWATCHED, Watcher
from relay.transfer.tree import READ, pread_into, tree

HANDS = 8  # files at a time

_AT_ONCE = 1024 * 1024  # bytes; what a hand reads before it hashes


def verify(
    folder: Path,
    manifest: Manifest,
    *,
    hands: int = HANDS,
    trusted: Collection[str] = frozenset(),
    watcher: Watcher = UNWATCHED,
) -> list[Fault]:
    """Return what is wrong with `folder`, by path: files missing, changed, extra, or of another kind.

    A file of several chunks is checked by each chunk's digest and by its own. `trusted` are paths of which only the
    size is looked at. Files that file browsers write by themselves are no fault.
    """
    if not folder.is_dir():
        raise MissingError(f"{folder} is not a folder: name the folder that holds the package")
    with in_our_words(str(folder), "look through it"):
        found = {path: status for path, status in tree(folder) if not stat.S_ISDIR(status.st_mode)}
    watcher.expect(len(manifest.files), manifest.size())
    verifying = _Verifying(folder, found, trusted, watcher)
    do_all(verifying.pieces(manifest), hands)
    extra = [Fault(path, What.EXTRA, Where.ARRIVAL) for path in found.keys() - manifest.by_path.keys() if _counts(path)]
    return sorted(verifying.faults + extra, key=lambda fault: fault.path)


def _counts(path: str) -> bool:
    return not any(is_litter(part) or is_ours(part) for part in path.split("/"))


class _Verifying:
    def __init__(
        self, folder: Path, found: dict[str, os.stat_result], trusted: Collection[str], watcher: Watcher
    ) -> None:
        self.faults: list[Fault] = []
        self._folder = folder
        self._found = found
        self._trusted = trusted
        self._watcher = watcher
        self._own = threading.local()

    def pieces(self, manifest: Manifest) -> Iterator[Piece]:
        return (partial(self._verify, file) for file in manifest.files)

    def _verify(self, file: PackedFile) -> None:
        fault = self._fault_of(file)
        if fault is not None:
            self.faults.append(fault)  # one step of the interpreter: no lock
        self._watcher.finished(file.path)

    def _fault_of(self, file: PackedFile) -> Fault | None:
        status = self._found.get(file.path)
        if status is None:
            return Fault(file.path, What.MISSING, Where.ARRIVAL, file.digest)
        if not stat.S_ISREG(status.st_mode):
            return Fault(file.path, What.NOT_A_FILE, Where.ARRIVAL, file.digest)
        if file.path in self._trusted and status.st_size == file.size:
            self._watcher.moved(file.size)
            return None
        with in_our_words(str(self._folder), f"read {file.path}"):
            descriptor = os.open(self._folder / file.path, READ)
            try:
                return self._fault_inside(file, descriptor)
            finally:
                os.close(descriptor)

    def _fault_inside(self, file: PackedFile, descriptor: int) -> Fault | None:
        size, found, bad = self._hashed(file, descriptor)
        if found == file.digest and size == file.size and not bad:
            return None
        return Fault(file.path, What.CHANGED, Where.ARRIVAL, file.digest, found, _detail(file, size, bad, found))

    def _hashed(self, file: PackedFile, descriptor: int) -> tuple[int, Digest, list[int]]:
        """Return the file's size, its SHA-256, and which of its chunks are wrong."""
        whole, offset, bad = sha256(), 0, []
        for number, chunk in enumerate(file.chunks):
            own, end = sha256(), offset + chunk.size
            for view in self._read(descriptor, offset, chunk.size):
                own.update(view)
                whole.update(view)
            offset = end
            if own.hexdigest() != chunk.digest:
                bad.append(number)
        for view in self._read(descriptor, offset, None):
            whole.update(view)
        return os.fstat(descriptor).st_size, Digest(whole.hexdigest()), bad

    def _read(self, descriptor: int, offset: int, size: int | None) -> Iterator[memoryview]:
        """Yield the bytes from `offset` on: `size` of them, or all; fewer where the file ends before."""
        buffer = self._buffer()
        end = None if size is None else offset + size
        while end is None or offset < end:
            some = buffer if end is None else buffer[: end - offset]
            count = pread_into(descriptor, some, offset)
            if not count:
                return
            self._watcher.moved(count)
            yield some[:count]
            offset += count

    def _buffer(self) -> memoryview:
        if not hasattr(self._own, "buffer"):
            self._own.buffer = memoryview(bytearray(_AT_ONCE))
        return self._own.buffer  # type: ignore[no-any-return]  # a thread's own things have no types


def _detail(file: PackedFile, size: int, bad: list[int], found: Digest) -> str:
    if size != file.size:
        return f"{size} bytes, expected {file.size}"
    if not file.chunks:
        return ""
    if not bad:
        return "every chunk is as the manifest says: the manifest contradicts itself"
    if found == file.digest:
        return "the file is as the manifest says, its chunks are not: the manifest contradicts itself"
    first = sum(chunk.size for chunk in file.chunks[: bad[0]])
    return f"{len(bad)} of {len(file.chunks)} chunks, the first from byte {first} on"
