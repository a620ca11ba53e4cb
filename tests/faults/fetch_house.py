"""What the tests of fetching stand on: packages laid into a store by hand, stores with a fault, what lies where."""

import hashlib
import random
import threading
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from relay.errors import TransientError
from relay.media.manifest import Chunk, Manifest, PackedFile, chunk_sizes
from relay.model import Digest
from relay.store.keys import object_key
from relay.store.port import Store
from relay.transfer.target import INCOMING


def sha256(body: bytes | memoryview) -> Digest:
    return Digest(hashlib.sha256(body).hexdigest())


def manifest_of(files: dict[str, bytes]) -> Manifest:
    """Return the manifest of `files`, hashed here and not by the code under test."""
    return Manifest.of(PackedFile(path, len(body), sha256(body), chunks_of(body)) for path, body in files.items())


def chunks_of(body: bytes) -> tuple[Chunk, ...]:
    chunks, offset = [], 0
    for size in chunk_sizes(len(body)):
        chunks.append(Chunk(sha256(memoryview(body)[offset : offset + size]), size))
        offset += size
    return tuple(chunks)


def stored(store: Store, files: dict[str, bytes]) -> Manifest:
    """Lay every object of `files` into `store`."""
    manifest = manifest_of(files)
    for file in manifest.files:
        offset = 0
        for item in file.objects():
            store.create(object_key(item.digest), files[file.path][offset : offset + item.size], item.digest)
            offset += item.size
    return manifest


def paths_that_need(manifest: Manifest, digest: Digest) -> set[str]:
    return {file.path for file in manifest.files if any(item.digest == digest for item in file.objects())}


def lies_at(folder: Path) -> dict[str, bytes | str]:
    """Return every file under `folder` with its bytes, and every link with where it points."""
    paths = (path for path in folder.rglob("*") if path.is_symlink() or not path.is_dir())
    return {
        path.relative_to(folder).as_posix(): str(path.readlink()) if path.is_symlink() else path.read_bytes()
        for path in paths
    }


def hidden_in(folder: Path) -> list[Path]:
    """Return the hidden folders of landings that lie in `folder`."""
    return sorted(folder.glob(f"{INCOMING}*"))


def damaged(body: bytes, dice: random.Random) -> bytes:
    """Return `body` with one fault: a bit flipped, an end cut off, or bytes too many."""
    at = dice.randrange(len(body) + 1)
    flipped = bytearray(body)
    if body:
        flipped[dice.randrange(len(body))] ^= 1 << dice.randrange(8)
    ways = [bytes(flipped), body[:-1], body[1:], body[:at], body + b"x", body[:at] + b"x" + body[at:]]
    return dice.choice([wrong for wrong in ways if wrong != body])


class Failing:
    """A store whose reads go through `reading`, which may count, alter what came, or raise."""

    def __init__(self, inner: Store, reading: Callable[[str, int, memoryview, int], int]) -> None:
        """`reading` is told the key, the how-manieth read of it this is, the buffer and how much of it is filled."""
        self.name = inner.name
        self.reads: Counter[str] = Counter()
        self._inner = inner
        self._reading = reading
        self._lock = threading.Lock()

    def read_into(self, key: str, buffer: memoryview) -> int:
        with self._lock:
            self.reads[key] += 1
            number = self.reads[key]
        return self._reading(key, number, buffer, self._inner.read_into(key, buffer))

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)


def away_after(reads: int) -> Callable[[str, int, memoryview, int], int]:
    """Return a reading that works `reads` times; then the store is away."""
    left = iter(range(reads))

    def reading(_key: str, _number: int, _buffer: memoryview, size: int) -> int:
        if next(left, None) is None:
            raise TransientError("the store is away: try again")
        return size

    return reading


def unharmed(_key: str, _number: int, _buffer: memoryview, size: int) -> int:
    return size
