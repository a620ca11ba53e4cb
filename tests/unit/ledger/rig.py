"""A ledger over a store in memory that a test can look into, tamper with, and count the requests of."""

import random
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from relay.ledger.copy import LocalCopy
from relay.ledger.keys import KeyId, key_id
from relay.ledger.ledger import Ledger
from relay.model import Digest
from relay.store.keys import entry_key
from relay.store.port import OBJECT_LIMIT, Listed, Store
from tests.contracts.memory_store import MemoryStore
from tests.unit.ledger.scene import NOON, Told, pen

ROOT_ID = key_id(pen("root").public)


class FakeClock:
    """Time that passes only while somebody waits."""

    def __init__(self) -> None:
        self.passed = 0.0

    def now(self) -> datetime:
        return NOON + timedelta(days=1, seconds=int(self.passed))

    def ticks(self) -> float:
        return self.passed

    def wait(self, seconds: float) -> None:
        assert seconds >= 0
        self.passed += seconds


class OpenStore(MemoryStore):
    """A store in memory with its lid off."""

    def __init__(self, told: Told | None = None) -> None:
        super().__init__(FakeClock())
        self.asked: list[tuple[str, str]] = []
        for slot, raw in enumerate(told.raws if told else ()):
            self.objects[entry_key(slot)] = raw

    @property
    def objects(self) -> dict[str, bytes]:
        return self._objects

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: Digest) -> bool:
        self.asked.append(("create", key))
        return super().create(key, body, digest)

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        self.asked.append(("read", key))
        return super().read(key, limit)

    def size(self, key: str) -> int | None:
        self.asked.append(("size", key))
        return super().size(key)

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        self.asked.append(("list", prefix))
        return super().list(prefix, after)


def opened(store: Store, home: Path, *, root: KeyId | None = ROOT_ID, seed: int = 0) -> Ledger:
    return Ledger(store, LocalCopy(home), FakeClock(), root, random.Random(seed))
