"""What a site remembers between runs: files it hashed, and objects it knows to be whole in a store.

Losing the notebook costs time, never truth: everything in it can be found out again by reading.
"""

import os
import sqlite3
import threading
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, Self

from relay.errors import BrokenError, RefusedError, TransientError
from relay.media.manifest import Chunk, chunk_sizes
from relay.model import Digest

QUIET_SECONDS = 60
"""How long a file must have been left alone before it was read, for its hash to be believed later.

A file written twice within one tick of its file system's clock shows the same times for both; ticks last up to two
seconds. What a program writes through a shared memory map moves the times only when a page is first touched, and again
only after the kernel wrote the page back, within 35 s as Linux is set up.
"""

_PER_QUERY = 900  # SQLite's own limit on parameters was 999 for long
_WAIT_SECONDS = 60  # for another process that writes to the notebook

_SCHEMA = """
CREATE TABLE IF NOT EXISTS hashed (
    path BLOB PRIMARY KEY, size INTEGER, mtime_ns INTEGER, ctime_ns INTEGER, inode BLOB, device BLOB,
    digest BLOB NOT NULL, chunks BLOB NOT NULL
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS proven (store TEXT, digest BLOB, PRIMARY KEY (store, digest)) WITHOUT ROWID;
"""
_SCHEMA_VERSION = 1


class Stamp(NamedTuple):
    """How a file's status tells one state of it from another."""

    size: int  # bytes
    mtime_ns: int
    ctime_ns: int  # moves whenever content or times change; nobody can put it back
    inode: int
    device: int


def stamp_of(status: os.stat_result) -> Stamp:
    """Return the stamp of a file whose status is `status`."""
    return Stamp(status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino, status.st_dev)


class Hashed(NamedTuple):
    """What a file was found to hold."""

    digest: Digest
    chunks: tuple[Chunk, ...] = ()


class Notebook:
    """One file in the site's home, safe for many threads and processes. What was noted survives a kill."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._queue: deque[tuple[str, tuple[object, ...]]] = deque()
        with self._translated():
            self._db = sqlite3.connect(path, timeout=_WAIT_SECONDS, isolation_level=None, check_same_thread=False)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = NORMAL")
            self._open_pages()

    def _open_pages(self) -> None:
        (version,) = self._db.execute("PRAGMA user_version").fetchone()
        if version == 0:
            self._db.executescript(f"BEGIN IMMEDIATE; {_SCHEMA} PRAGMA user_version = {_SCHEMA_VERSION}; COMMIT;")
        elif version != _SCHEMA_VERSION:
            raise RefusedError(
                f"the notebook {self._path} is of form {version}, expected {_SCHEMA_VERSION}: "
                "upgrade, or delete it, it will be filled again"
            )

    def close(self) -> None:
        """Put the notebook away."""
        self._settle()
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def known(self, stamps: Mapping[str, Stamp]) -> dict[str, Hashed]:
        """Return what is known of those files, by absolute path, that still bear the stamp they were hashed under."""
        self._settle()
        known = {}
        keys = {os.fsencode(path): path for path in stamps}
        for row in self._rows("SELECT * FROM hashed WHERE path IN", (), keys):
            path = keys[row[0]]
            if Stamp(row[1], row[2], row[3], _number(row[4]), _number(row[5])) == stamps[path]:
                known[path] = Hashed(Digest(row[6].hex()), _chunks(row[7], row[1]))
        return known

    def remember(self, path: str, stamp: Stamp, hashed: Hashed, began: datetime) -> None:
        """Note what the file at absolute `path` held, if it had been left alone when reading it `began`.

        It is committed with whatever is proven next, or when the notebook is put away.
        """
        if stamp.ctime_ns >= (int(began.timestamp()) - QUIET_SECONDS) * 1_000_000_000:
            return
        chunks = b"".join(bytes.fromhex(chunk.digest) for chunk in hashed.chunks)
        numbers = (stamp.size, stamp.mtime_ns, stamp.ctime_ns, _bytes(stamp.inode), _bytes(stamp.device))
        row = (os.fsencode(path), *numbers, bytes.fromhex(hashed.digest), chunks)
        self._queue.append(("INSERT OR REPLACE INTO hashed VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row))

    def proven(self, store: str, digests: Iterable[Digest]) -> set[Digest]:
        """Return which of `digests` are known to be whole in the store called `store`."""
        keys = {bytes.fromhex(digest): digest for digest in digests}
        rows = self._rows("SELECT digest FROM proven WHERE store = ? AND digest IN", (store,), keys)
        return {keys[row[0]] for row in rows}

    def some_proven(self, store: str, count: int) -> list[Digest]:
        """Return up to `count` objects, picked at random, that are known to be whole in the store called `store`."""
        query = "SELECT digest FROM proven WHERE store = ? AND digest >= ? LIMIT 1"
        with self._translated(), self._lock:
            rows = [self._db.execute(query, (store, os.urandom(32))).fetchone() for _ in range(count - 1)]
            rows.append(self._db.execute(query, (store, b"")).fetchone())
        return [Digest(row[0].hex()) for row in rows if row]

    def prove(self, store: str, digest: Digest) -> None:
        """Note that this site wrote the object itself and had its answer, or read it and found it whole."""
        self._note("INSERT OR IGNORE INTO proven VALUES (?, ?)", (store, bytes.fromhex(digest)))

    def doubt(self, store: str, digests: Iterable[Digest] | None = None) -> None:
        """Forget that these objects, or all, are whole in the store called `store`."""
        if digests is None:
            self._note("DELETE FROM proven WHERE store = ?", (store,))
            return
        for digest in digests:
            self._note("DELETE FROM proven WHERE store = ? AND digest = ?", (store, bytes.fromhex(digest)))

    def _rows(self, query: str, first: tuple[object, ...], keys: Iterable[bytes]) -> Iterator[tuple[Any, ...]]:
        waiting = iter(keys)
        while some := tuple(islice(waiting, _PER_QUERY)):
            with self._translated(), self._lock:
                rows = self._db.execute(f"{query} ({','.join('?' * len(some))})", first + some).fetchall()
            yield from rows

    def _note(self, statement: str, row: tuple[object, ...]) -> None:
        """Return once `row` is committed: whoever comes first commits for all who wait behind."""
        self._queue.append((statement, row))
        self._settle()

    def _settle(self) -> None:
        with self._translated(), self._lock:
            due = [self._queue.popleft() for _ in range(len(self._queue))]
            if due:
                self._commit(due)

    def _commit(self, due: list[tuple[str, tuple[object, ...]]]) -> None:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            for statement, row in due:
                self._db.execute(statement, row)
            self._db.execute("COMMIT")
        except BaseException:
            self._db.execute("ROLLBACK")
            raise

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as fault:
            if "locked" in str(fault):
                raise TransientError(
                    f"the notebook {self._path} was in use by another process for {_WAIT_SECONDS} s: try again"
                ) from fault
            raise RefusedError(
                f"the notebook {self._path} cannot be used ({fault}): "
                "make room there, or give this user the right to write"
            ) from fault
        except sqlite3.DatabaseError as fault:
            raise BrokenError(
                f"the notebook {self._path} is damaged ({fault}): delete it, it will be filled again from what is there"
            ) from fault


# Inode and device numbers are unsigned, SQLite's integers are not.
def _bytes(number: int) -> bytes:
    return number.to_bytes(16, "big")


def _number(blob: bytes) -> int:
    return int.from_bytes(blob, "big")


def _chunks(digests: bytes, size: int) -> tuple[Chunk, ...]:
    each = (digests[start : start + 32].hex() for start in range(0, len(digests), 32))
    return tuple(Chunk(Digest(digest), length) for digest, length in zip(each, chunk_sizes(size), strict=True))
