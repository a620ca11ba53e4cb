"""A store in memory that keeps the three promises and checks every digest: the reference the others are held to."""

import threading
from collections.abc import Iterator
from datetime import datetime

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, MissingError, RefusedError
from relay.model import Digest, digest_of
from relay.store.keys import ENTRY_PREFIX, check_alive, check_key
from relay.store.port import OBJECT_LIMIT, Listed

Body = bytes | bytearray | memoryview


class MemoryStore:
    def __init__(self, clock: Clock = SYSTEM_CLOCK) -> None:
        self.name = "memory"
        self._clock = clock
        self._objects: dict[str, bytes] = {}
        self._signs: dict[str, datetime] = {}
        self._lock = threading.Lock()

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        stored = self._checked(key, body, digest)
        with self._lock:
            return self._objects.setdefault(key, stored) is stored

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        check_key(key)
        with self._lock:
            body = self._objects.get(key)
        if body is None:
            raise MissingError(f"{self.name}: there is no {key} (yet).")
        if len(body) > limit:
            raise BrokenError(f"{self.name}: {key} holds {len(body)} bytes, where at most {limit} were expected.")
        return body

    def read_into(self, key: str, buffer: memoryview) -> int:
        body = self.read(key, buffer.nbytes)
        buffer[: len(body)] = body
        return len(body)

    def size(self, key: str) -> int | None:
        check_key(key)
        with self._lock:
            body = self._objects.get(key)
        return None if body is None else len(body)

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        with self._lock:
            found = [(key, len(body)) for key, body in self._objects.items() if key.startswith(prefix) and key > after]
        yield from (Listed(*line) for line in sorted(found))

    def replace(self, key: str, body: Body, digest: Digest, bad: Digest) -> bool:
        stored = self._checked(key, body, digest)
        with self._lock:
            present = self._objects.get(key)
            if present is None or digest_of(present) != bad:
                return False
            self._objects[key] = stored
            return True

    def discard(self, key: str) -> None:
        check_key(key)
        if key.startswith(ENTRY_PREFIX):
            raise RefusedError(f"{self.name}: {key} is an entry of the ledger, and those are never removed.")
        with self._lock:
            self._objects.pop(key, None)

    def beat(self, key: str) -> None:
        check_alive(key)
        with self._lock:
            self._signs[key] = self._clock.now()

    def age(self, key: str) -> float | None:
        check_key(key)
        with self._lock:
            given = self._signs.get(key)
        return None if given is None else max(0.0, (self._clock.now() - given).total_seconds())

    def now(self) -> datetime:
        return self._clock.now()

    def _checked(self, key: str, body: Body, digest: Digest) -> bytes:
        check_key(key)
        # A copy of its own even of bytes: setdefault tells by identity who came first.
        stored = bytes(bytearray(body))
        if digest_of(stored) != digest:
            raise BrokenError(f"{self.name}: the bytes for {key} are not {digest}.")
        return stored
