"""A store in a folder: the embedded default, and how a production travels on a shuttle drive.

*Once* and *whole* come from the file system. An object is written to a hidden file in `.incoming`, synced, and then
linked to its own name: linking fails where the name is taken, and shows all of the file or nothing. *At once* is
what every local disk does; the folder is synced before a create returns, so that the name outlasts a power cut.

Shuttle drives are often exFAT, which knows no links. There the file is renamed to its own name instead, under a lock
that all writers of this folder take (`.incoming/lock`). That is as good while every writer sees the folder through the
same kind of file system: a share must not be mounted with links on one machine and without them on another.

Objects are not hashed here: whoever creates one just did, and whoever reads one does. The hidden files of writers
that died are swept when a store is first written to; a living writer holds a lock on its own.
"""

import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal, Self

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, MissingError, RefusedError, TransientError
from relay.model import Digest, digest_of
from relay.store.folder import grow, in_our_words, opened, sync
from relay.store.incoming import INCOMING, is_taken, locked, own_part, published, sweep, written
from relay.store.keys import ENTRY_PREFIX, PROBE_PREFIX, check_alive, check_key, is_key
from relay.store.port import OBJECT_LIMIT, Listed

_READ = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC  # a planted pipe must not hold us up


class DirectoryStore:
    """Objects as read-only files under `root`, which must exist."""

    def __init__(self, root: Path, clock: Clock = SYSTEM_CLOCK) -> None:
        self.root = root
        self.name = str(root)
        self._clock = clock
        self._known: set[tuple[str, ...]] = set()

    @classmethod
    def founded(cls, root: Path, clock: Clock = SYSTEM_CLOCK) -> Self:
        """Return a store in `root`, making the folder where there is none yet."""
        try:
            with in_our_words(str(root), "make the folder"):
                root.mkdir(parents=True, exist_ok=True)
        except TransientError as error:
            if isinstance(error.__cause__, FileNotFoundError):  # as under /proc: no folder can be made there, ever
                raise RefusedError(f"{root}: no folder can be made there. Name another place.") from error
            raise
        return cls(root, clock)

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: Digest) -> bool:  # noqa: ARG002  not hashed twice
        *parts, leaf = self._parts(key)
        with in_our_words(self.name, f"create {key}"), self._ready(parts) as (incoming, folder):
            created = not is_taken(folder, leaf)
            if created:
                with written(incoming, body) as part:
                    created = published(incoming, part, folder, leaf)
            # Also where it was taken: whoever took it may not have come so far yet, and we build on it.
            sync(folder)
        return created

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        with self._reading(key, limit) as (descriptor, size):
            body = bytearray(size)
            _fill(descriptor, memoryview(body), key)
        return bytes(body)

    def read_into(self, key: str, buffer: memoryview) -> int:
        with self._reading(key, buffer.nbytes) as (descriptor, size):
            _fill(descriptor, buffer.cast("B")[:size], key)
        return size

    def size(self, key: str) -> int | None:
        *parts, leaf = self._parts(key)
        with in_our_words(self.name, f"look at {key}"):
            try:
                with opened(self.root, parts) as folder:
                    found = os.stat(leaf, dir_fd=folder, follow_symlinks=False)
            except FileNotFoundError:
                return None
        return found.st_size if stat.S_ISREG(found.st_mode) else None

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        *parts, _ = prefix.split("/")
        if parts and not is_key("/".join(parts)):
            return
        yield from self._walk(tuple(parts), prefix, after)

    def replace(self, key: str, body: bytes | bytearray | memoryview, digest: Digest, bad: Digest) -> bool:  # noqa: ARG002  not hashed twice
        *parts, leaf = self._parts(key)
        with in_our_words(self.name, f"replace {key}"), self._ready(parts) as (incoming, folder), locked(incoming):
            if not is_taken(folder, leaf) or digest_of(self.read(key)) != bad:
                return False
            with written(incoming, body) as part:
                os.rename(part, leaf, src_dir_fd=incoming, dst_dir_fd=folder)
            sync(folder)
        return True

    def discard(self, key: str) -> None:
        *parts, leaf = self._parts(key)
        if key.startswith(ENTRY_PREFIX):
            raise RefusedError(f"{self.name}: {key} is an entry of the ledger, and those are never removed.")
        with in_our_words(self.name, f"remove {key}"), self._ready(()) as (incoming, _), locked(incoming):
            with suppress(FileNotFoundError), opened(self.root, parts) as folder:
                if is_taken(folder, leaf):
                    os.unlink(leaf, dir_fd=folder)
            if key.startswith(PROBE_PREFIX):
                self._remove_empty(parts)

    def beat(self, key: str) -> None:
        *parts, leaf = self._parts(key)
        check_alive(key)
        with (
            in_our_words(self.name, f"give a sign at {key}"),
            self._ready(parts) as (incoming, folder),
            own_part(incoming) as (part, _),
        ):
            os.rename(part, leaf, src_dir_fd=incoming, dst_dir_fd=folder)

    def age(self, key: str) -> float | None:
        *parts, leaf = self._parts(key)
        with in_our_words(self.name, f"look for a sign at {key}"):
            try:
                with opened(self.root, parts) as folder:
                    given = os.stat(leaf, dir_fd=folder, follow_symlinks=False).st_mtime
            except FileNotFoundError:
                return None
        return max(0.0, self.now().timestamp() - given)

    def versioning(self) -> Literal["off"]:
        """Return that what is removed here is gone."""
        return "off"

    def now(self) -> datetime:
        """Return the time of the disk or the share, which two machines that share a folder agree on."""
        try:
            with (
                in_our_words(self.name, "ask for the time"),
                self._ready(()) as (incoming, _),
                own_part(incoming) as (_, touched),
            ):
                seconds = int(os.fstat(touched).st_mtime)
        except RefusedError:
            return self._clock.now()  # a folder that may only be read: nothing in it can depend on the difference
        return datetime.fromtimestamp(seconds, UTC)

    def _remove_empty(self, parts: Sequence[str]) -> None:
        """Remove the folders that a probe has left empty."""
        with suppress(OSError):
            for count in range(len(parts), 0, -1):
                self._known.discard(tuple(parts[:count]))
                with opened(self.root, parts[: count - 1]) as parent:
                    os.rmdir(parts[count - 1], dir_fd=parent)

    def _parts(self, key: str) -> tuple[str, ...]:
        check_key(key)
        return tuple(key.split("/"))

    @contextmanager
    def _ready(self, parts: Sequence[str]) -> Iterator[tuple[int, int]]:
        """Open `.incoming` and the folder `parts`, made and swept where this is the first time."""
        if not self._known:
            grow(self.root, INCOMING)
            with opened(self.root, INCOMING) as incoming:
                sweep(incoming)
        if tuple(parts) not in self._known:
            grow(self.root, parts)
            self._known.add(tuple(parts))
        try:
            with opened(self.root, INCOMING) as incoming, opened(self.root, parts) as folder:
                yield incoming, folder
        except FileNotFoundError:
            self._known.clear()  # someone removed a folder under us: the next call makes it again
            raise

    @contextmanager
    def _reading(self, key: str, limit: int) -> Iterator[tuple[int, int]]:
        *parts, leaf = self._parts(key)
        with in_our_words(self.name, f"read {key}"):
            try:
                with opened(self.root, parts) as folder:
                    descriptor = os.open(leaf, _READ, dir_fd=folder)
            except FileNotFoundError as error:
                raise MissingError(f"{self.name}: there is no {key} (yet).") from error
            try:
                yield descriptor, _checked_size(descriptor, self.name, key, limit)
            finally:
                os.close(descriptor)

    def _walk(self, parts: tuple[str, ...], prefix: str, after: str) -> Iterator[Listed]:
        for key, size in self._scanned(parts, prefix, after):
            if size is None:
                yield from self._walk((*parts, key.split("/")[-2]), prefix, after)
            elif key > after:
                yield Listed(key, size)

    def _scanned(self, parts: tuple[str, ...], prefix: str, after: str) -> Iterable[tuple[str, int | None]]:
        """Return what one folder holds, in order; a folder's key ends in a slash and has no size."""
        base = "".join(f"{part}/" for part in parts)
        found: dict[str, int | None] = {}
        with in_our_words(self.name, f"list {base}"), suppress(FileNotFoundError), opened(self.root, parts) as folder:
            for name in os.listdir(folder):  # noqa: PTH208  an open folder has no path
                key = base + name
                if not is_key(key) or not _may_matter(key, prefix, after):
                    continue
                with suppress(FileNotFoundError):  # removed since it was listed
                    state = os.stat(name, dir_fd=folder, follow_symlinks=False)
                    if stat.S_ISREG(state.st_mode):
                        found[key] = state.st_size
                    elif stat.S_ISDIR(state.st_mode):
                        found[f"{key}/"] = None
        return sorted(found.items())


def _may_matter(key: str, prefix: str, after: str) -> bool:
    """Answer whether a file of that key, or something in a folder of that key, can belong to the listing."""
    inside = f"{key}/"
    return key.startswith(prefix) and (inside > after or after.startswith(inside))


def _checked_size(descriptor: int, store: str, key: str, limit: int) -> int:
    found = os.fstat(descriptor)
    if stat.S_ISDIR(found.st_mode):
        raise MissingError(f"{store}: there is no {key}, but a folder of that name.")
    if not stat.S_ISREG(found.st_mode):
        raise BrokenError(f"{store}: {key} is not a regular file. Someone altered the folder: look there.")
    if found.st_size > limit:
        raise BrokenError(
            f"{store}: {key} holds {found.st_size} bytes, where at most {limit} were expected. "
            "It is not what its name says: have it looked at."
        )
    return found.st_size


def _fill(descriptor: int, view: memoryview, key: str) -> None:
    done = 0
    while done < len(view):
        count = os.readv(descriptor, [view[done:]])
        if not count:
            raise BrokenError(f"{key} ended after {done} of {len(view)} bytes: it was cut while it was read.")
        done += count
