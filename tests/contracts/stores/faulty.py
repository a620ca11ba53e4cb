"""Stores that break one promise each, as real ones do."""

import threading
import time

from relay.errors import MissingError
from relay.model import Digest
from relay.store.port import OBJECT_LIMIT, Listed
from tests.contracts.memory_store import Body, MemoryStore


class Unguarded(MemoryStore):
    """What the others are made of."""

    def put(self, key: str, body: bytes) -> None:
        with self._lock:
            self._objects[key] = body

    def drop(self, key: str) -> None:
        with self._lock:
            self._objects.pop(key, None)


class Ignoring(Unguarded):
    """Ignores the condition: every writer is told that it created the key."""

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        super().create(key, body, digest)
        self.put(key, bytes(body))
        return True


class Forgetful(Unguarded):
    """Keeps the condition between writers that come together, and forgets it afterwards."""

    def __init__(self) -> None:
        super().__init__()
        self._first: dict[str, float] = {}

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        first = self._first.setdefault(key, time.monotonic())
        if time.monotonic() - first > 0.05:
            self.drop(key)
        else:
            time.sleep(0.06)
        return super().create(key, body, digest)


class Careless(Unguarded):
    """Looks first and writes then, as a server without a lock would."""

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        if self.size(key) is not None:
            return False
        time.sleep(0.001)
        self.put(key, bytes(body))
        return True


class Muddled(Unguarded):
    """Answers one writer that it won, and keeps the bytes of another."""

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        created = super().create(key, body, digest)
        if not created and b"too late" not in bytes(body):
            self.put(key, bytes(body))
        return created


class Trickling(Unguarded):
    """Shows an object while it is still coming."""

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        if len(body) > 100_000 and key not in self._objects:
            self.put(key, bytes(body)[: len(body) // 2])
            time.sleep(0.01)
            self.drop(key)
        return super().create(key, body, digest)


class TricklingList(Unguarded):
    """Lists an object with the size it has so far; reading it waits until it is whole."""

    def __init__(self) -> None:
        super().__init__()
        self._coming: dict[str, int] = {}

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        self._coming[key] = len(body) // 2
        time.sleep(0.01)
        created = super().create(key, body, digest)
        self._coming.pop(key, None)
        return created

    def list(self, prefix: str, after: str = ""):
        coming = [Listed(key, size) for key, size in self._coming.copy().items() if key.startswith(prefix)]
        yield from sorted([*coming, *super().list(prefix, after)])


class Remembering(Unguarded):
    """Remembers for a moment that there was nothing."""

    def __init__(self) -> None:
        super().__init__()
        self._missed: dict[str, float] = {}

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        if time.monotonic() - self._missed.get(key, -1) < 0.2:
            raise MissingError(f"there was no {key} a moment ago")
        try:
            return super().read(key, limit)
        except MissingError:
            self._missed[key] = time.monotonic()
            raise


class ListingLater(Unguarded):
    """Lists an object a moment after it was created."""

    def __init__(self) -> None:
        super().__init__()
        self._since: dict[str, float] = {}
        self._noting = threading.Lock()

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        with self._noting:
            self._since.setdefault(key, time.monotonic())
        return super().create(key, body, digest)

    def list(self, prefix: str, after: str = ""):
        old = time.monotonic() - 0.2
        yield from (line for line in super().list(prefix, after) if self._since[line.key] < old)
