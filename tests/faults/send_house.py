"""What the tests of sending stand on: a store with somebody at its elbow, small packages, hashes found elsewhere."""

import hashlib
import random
import threading
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from relay.model import Digest
from relay.store.port import Store
from tests.contracts.memory_store import Body, MemoryStore


def ignore(_key: str) -> None:
    pass


class Watched:
    """A store that counts, and that calls `before` and `after` around each create of an object."""

    def __init__(
        self, inner: Store, before: Callable[[str], None] = ignore, after: Callable[[str], None] = ignore
    ) -> None:
        self.name = inner.name
        self.puts: Counter[str] = Counter()
        self.reads: Counter[str] = Counter()
        self._inner = inner
        self._before = before
        self._after = after

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        self.puts[key] += 1
        self._before(key)
        created = self._inner.create(key, body, digest)
        self._after(key)
        return created

    def read_into(self, key: str, buffer: memoryview) -> int:
        self.reads[key] += 1
        return self._inner.read_into(key, buffer)

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)


class LaterClock:
    """The machine's clock, put forward, so that files made a moment ago count as long left alone."""

    def __init__(self, forward: timedelta = timedelta(hours=1)) -> None:
        self._forward = forward

    def now(self) -> datetime:
        return datetime.now(UTC).replace(microsecond=0) + self._forward

    def ticks(self) -> float:
        raise NotImplementedError

    def wait(self, seconds: float) -> None:
        threading.Event().wait(seconds)


def lay_out(folder: Path, files: dict[str, bytes]) -> Path:
    """Write `files` under `folder`."""
    for path, body in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(body)
    return folder


def package(seed: int) -> dict[str, bytes]:
    """Return a small package: frames, a sound file, perhaps an empty note and a frame that is like another."""
    dice = random.Random(seed)
    files = {
        f"frames/A_R01.{86400 + n:07d}.dpx": dice.randbytes(dice.randint(1, 9000)) for n in range(dice.randint(2, 6))
    }
    files["sound/mix.wav"] = dice.randbytes(dice.randint(1, 40_000))
    if dice.random() < 0.3:
        files["notes.txt"] = b""
    if dice.random() < 0.3:
        files["frames/A_R01.0086500.dpx"] = files["frames/A_R01.0086400.dpx"]
    return files


def hashes_on_disk(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every file under `folder`, found without the code under test."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def false_objects(store: MemoryStore) -> list[str]:
    """Return the objects whose bytes are not what their key says."""
    return [key for key, body in store._objects.items() if hashlib.sha256(body).hexdigest() != key.rpartition("/")[2]]


def manifests_in(store: MemoryStore) -> list[str]:
    """Return the manifests that were stored: packages that somebody accepted."""
    return [key for key, body in store._objects.items() if body.startswith(b"# relay manifest")]
