"""Takes a package from a folder into a store: hashed once, each object sent once, the manifest last.

Hash and body come from the same buffer, so they cannot disagree. That the folder stood still meanwhile is seen from
its files' stamps: when it was surveyed, before and after each file was read, and once more at the end.

Stopped at any moment, the same call again goes on where it was: what was sent is in the notebook. Nothing is ever
written into the folder.
"""

import hashlib
import os
import threading
from collections.abc import Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, RefusedError
from relay.media.manifest import Chunk, Manifest, PackedFile, chunk_sizes
from relay.media.names import check_paths
from relay.model import Digest, digest_of
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.folder import OpenFile, Survey, check_unmoved, survey
from relay.transfer.hands import Piece, do_all
from relay.transfer.lent import Lent
from relay.transfer.notebook import Hashed, Notebook, Stamp
from relay.transfer.progress import UNWATCHED, Onlooker, Watcher
from relay.transfer.sender import WORTH_FOLLOWING, Sender

HANDS = 16  # files or chunks at a time

_FINE_TICK = 0.02  # seconds; file systems stamp with the kernel's tick, 10 ms at most
_COARSE_TICK = 2.0  # seconds; for those that keep whole seconds, or every second one


@dataclass(frozen=True)
class Deposit:
    """What was handed over, and what it took."""

    manifest: Manifest
    sent_objects: int
    sent_bytes: int
    already_there: int  # objects
    hashed_bytes: int
    left_out: tuple[str, ...]  # files that file browsers write by themselves


def deposit(
    folder: Path,
    store: Store,
    notebook: Notebook,
    *,
    hands: int = HANDS,
    rehash: bool = False,
    expected: Collection[Digest] = frozenset(),
    watcher: Watcher = UNWATCHED,
    budget: Budget | None = None,
    clock: Clock = SYSTEM_CLOCK,
    onlooker: Onlooker | None = None,
) -> Deposit:
    """Store every file under `folder` and then the manifest that names them.

    `rehash` distrusts the hashes that the notebook remembers; `expected` are objects that others say are there,
    which are read rather than sent; `onlooker` sees each file of one object that is read, while it is in memory.
    Raises RefusedError for a folder that is empty, cannot be a package or does not stand still; BrokenError for wrong
    bytes, in the store or behind an unchanged stamp; TransientError to try again.
    """
    found = survey(folder)
    _check_package(folder, found.files)
    _let_settle(found.files, clock)
    sender = Sender(store, notebook, expected)
    sending = _Sending(found, folder=folder.resolve(), sender=sender, notebook=notebook, watcher=watcher, clock=clock)
    sending.onlooker = onlooker
    sending.trust({} if rehash else notebook.known(sending.stamps()))
    sending.line = threading.Semaphore(hands)
    do_all(sending.pieces(budget or Budget()), hands + sending.spare(hands))
    check_unmoved(folder, found.files)
    return sending.closed()


def _check_package(folder: Path, files: Collection[str]) -> None:
    if not files:
        raise RefusedError(f"{str(folder)!r} holds no files: nothing was sent. Name the folder that the frames are in")
    try:
        check_paths(sorted(files))
    except ValueError as fault:
        raise RefusedError(f"{str(folder)!r}: {fault}: rename it, then send again") from fault


def _let_settle(files: Mapping[str, Stamp], clock: Clock) -> None:
    """Wait until whatever changes from now on gets another stamp than the survey saw."""
    newest = max(stamp.ctime_ns for stamp in files.values()) / 1e9
    is_coarse = all(stamp.ctime_ns % 1_000_000_000 == 0 for stamp in files.values())
    tick = _COARSE_TICK if is_coarse else _FINE_TICK
    if newest >= clock.now().timestamp() - tick:
        clock.wait(tick)


class _Sending:
    """One folder on its way into one store."""

    def __init__(
        self, survey: Survey, *, folder: Path, sender: Sender, notebook: Notebook, watcher: Watcher, clock: Clock
    ) -> None:
        self._root = f"{folder}{os.sep}"
        self._survey = survey
        self._files = survey.files
        self._sender = sender
        self._notebook = notebook
        self._watcher = watcher
        self.onlooker: Onlooker | None = None
        self.line = threading.Semaphore()
        """Held while bytes are on it, by as many as there are hands. Its holders wait for no memory."""
        self._began = clock.now()
        self._trusted: dict[str, Hashed] = {}
        self._packed: dict[str, PackedFile] = {}
        self._hashed_bytes = 0
        self._lock = threading.Lock()

    def spare(self, hands: int) -> int:
        """Return how many more hands read ahead, or await the store's word, while `hands` are on the line."""
        return hands // 2 if any(stamp.size >= WORTH_FOLLOWING for stamp in self._files.values()) else 0

    def stamps(self) -> dict[str, Stamp]:
        """Return the files' stamps by absolute path, as the notebook knows them."""
        return {self._root + path: stamp for path, stamp in self._files.items()}

    def trust(self, known: Mapping[str, Hashed]) -> None:
        """Take files as done whose hash is known and whose objects are proven; the other hashes must come true."""
        start = len(self._root)
        self._trusted = {path[start:]: hashed for path, hashed in known.items()}
        files = [PackedFile(path, self._files[path].size, *hashed) for path, hashed in self._trusted.items()]
        proven = self._sender.proven({item.digest for file in files for item in file.objects()})
        self._packed = {file.path: file for file in files if all(item.digest in proven for item in file.objects())}

    def pieces(self, budget: Budget) -> Iterator[Piece]:
        """Yield what is to be done: each piece is a file, or a chunk of one."""
        self._watcher.expect(len(self._files), sum(stamp.size for stamp in self._files.values()))
        for path, file in self._packed.items():
            self._watcher.moved(file.size)
            self._watcher.finished(path)
        for path in sorted(self._files.keys() - self._packed.keys()):
            if chunk_sizes(self._files[path].size):
                yield from self._chunks(path, budget)
            else:
                yield partial(self._whole, path, budget)

    def closed(self) -> Deposit:
        """Store the manifest, now that all it names is there."""
        try:
            manifest = Manifest.of(self._packed.values())
            body = bytearray(manifest.encode())
        except ValueError as fault:
            raise RefusedError(f"{self._root!r} cannot be one package: {fault}") from fault
        self._sender.put(manifest.digest(), memoryview(body), "the manifest")
        sender = self._sender
        return Deposit(
            manifest,
            sent_objects=sender.sent_objects,
            sent_bytes=sender.sent_bytes,
            already_there=sender.already_there,
            hashed_bytes=self._hashed_bytes,
            left_out=self._survey.left_out,
        )

    def _whole(self, path: str, budget: Budget) -> None:
        stamp = self._files[path]
        with ExitStack() as held:
            body, loan = held.enter_context(budget.loan(stamp.size))
            self._read(path, body)
            hashed = Hashed(self._hash(body))
            self._check_trusted(path, hashed)
            if self.onlooker:
                self.onlooker(path, body)
            held.enter_context(self.line)
            again = partial(self._again, path, hashed.digest, budget)
            self._sender.put(hashed.digest, body, path, Lent(body, partial(budget.ease, loan), held, again))
        self._watcher.moved(stamp.size)
        self._finish(path, hashed)

    def _read(self, path: str, body: memoryview) -> None:
        with OpenFile(self._root + path, self._files[path]) as file:
            file.fill(body)
            file.check_unchanged()

    @contextmanager
    def _again(self, path: str, expected: Digest, budget: Budget) -> Iterator[memoryview]:
        """Lend the bytes of a file a second time: the line failed when some of them had arrived."""
        with budget.of(self._files[path].size) as body:
            self._read(path, body)
            found = self._hash(body)
            if found != expected:
                raise self._changed(path, found, expected)
            yield body

    def _chunks(self, path: str, budget: Budget) -> Iterator[Piece]:
        """Read a large file in order, for its own hash's sake, while other hands hash and send its chunks."""
        large = _LargeFile(chunk_sizes(self._files[path].size))
        with OpenFile(self._root + path, self._files[path]) as file:
            for number, size in enumerate(large.sizes):
                with ExitStack() as lease:
                    body = lease.enter_context(budget.of(size))
                    file.fill(body, sum(large.sizes[:number]))
                    file.check_unchanged()
                    self._count_hashed(size)
                    large.whole.update(body)
                    held = lease.pop_all()
                yield partial(self._chunk, path, large, number, body, held)

    def _chunk(self, path: str, large: "_LargeFile", number: int, body: memoryview, held: ExitStack) -> None:
        size = len(body)
        with held:
            digest = self._hash(body)
            with self.line:
                self._sender.put(digest, body, path)
        self._watcher.moved(size)
        with self._lock:
            hashed = large.took(number, digest)
        if hashed:
            self._check_trusted(path, hashed)
            self._finish(path, hashed)

    def _hash(self, body: memoryview) -> Digest:
        self._count_hashed(len(body))
        return digest_of(body)

    def _count_hashed(self, size: int) -> None:
        with self._lock:
            self._hashed_bytes += size

    def _check_trusted(self, path: str, hashed: Hashed) -> None:
        trusted = self._trusted.get(path, hashed)
        if trusted != hashed:
            raise self._changed(path, hashed.digest, trusted.digest)

    def _changed(self, path: str, found: Digest, expected: Digest) -> BrokenError:
        return BrokenError(
            f"{self._root + path!r} changed although nothing shows it: found SHA-256 {found}, "
            f"expected {expected} from when it was last read. Look after the disk; "
            "if the file is good as it is, send again with --rehash"
        )

    def _finish(self, path: str, hashed: Hashed) -> None:
        stamp = self._files[path]
        self._packed[path] = PackedFile(path, stamp.size, *hashed)
        if path not in self._trusted:
            self._notebook.remember(self._root + path, stamp, hashed, self._began)
        self._watcher.finished(path)


class _LargeFile:
    """A file that is sent in chunks; they come home in any order."""

    def __init__(self, sizes: tuple[int, ...]) -> None:
        self.sizes = sizes
        self.whole = hashlib.sha256()
        self._chunks: dict[int, Chunk] = {}

    def took(self, number: int, digest: Digest) -> Hashed | None:
        """Note that chunk `number` is in the store; return what the file holds once that is true of every one."""
        self._chunks[number] = Chunk(digest, self.sizes[number])
        if len(self._chunks) < len(self.sizes):
            return None
        chunks = tuple(self._chunks[place] for place in range(len(self.sizes)))
        return Hashed(Digest(self.whole.hexdigest()), chunks)
