"""A bucket behind a bad line: it keeps its promises, and its answers get lost, come late, or mislead.

`Line` is one process's way to the bucket. Every request takes time before it takes effect and before its answer is
there, and others act meanwhile.
"""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import TypeVar

from relay.errors import BrokenError, MissingError, TransientError
from relay.model import Digest, digest_of
from relay.store.keys import ENTRY_PREFIX
from relay.store.port import OBJECT_LIMIT, Listed
from tests.faults.simulation.world import World, instant

Answer = TypeVar("Answer")

SHARDS = 3
"""The bucket's index has parts, and a listing asks one after the other: it is no picture of one moment."""

READ_FAULTS = {"lost": 0.02, "answer lost": 0.02}
CREATE_FAULTS = {"lost": 0.04, "answer lost": 0.04, "echo": 0.05, "late": 0.1, "conflict": 0.04}


class Bucket:
    """What lies there, and signs of life. `landed` is told of each new entry."""

    def __init__(self, world: World, objects: dict[str, bytes], landed: Callable[[bytes], None]) -> None:
        self.world = world
        self.objects: dict[str, bytes] = {}
        self.index: list[list[str]] = [[] for _ in range(SHARDS)]
        self.alive: dict[tuple[str, int], float] = {}
        """When, by the bucket's time, the holder of (job, epoch) last gave a sign of life."""
        self._landed = landed
        self._away_until = 0.0
        for key, body in objects.items():
            self.put(key, body)

    def create(self, key: str, body: bytes) -> bool:
        if key in self.objects:
            return False
        self.put(key, body)
        return True

    def put(self, key: str, body: bytes) -> None:
        """Put `body` under `key`, over whatever lies there."""
        if key not in self.objects:
            self.index[sum(key.encode()) % SHARDS].append(key)
        self.objects[key] = body
        if key.startswith(ENTRY_PREFIX):
            self._landed(body)

    def is_away(self) -> bool:
        """Answer whether the bucket serves nobody now. Once in a while it goes away for a time."""
        if not self.world.stormy:
            return False
        if self.world.chance.random() < 0.002:
            self._away_until = self.world.now + self.world.chance.uniform(1, 90)
        return self.world.now < self._away_until


class Line:
    name = "the simulated bucket"

    def __init__(self, bucket: Bucket, tried: Callable[[str], None]) -> None:
        self.bucket = bucket
        self.world = bucket.world
        self._tried = tried

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: Digest) -> bool:
        assert digest_of(body) == digest
        if key.startswith(ENTRY_PREFIX):
            self._tried(digest)
        fault = self._fault(CREATE_FAULTS)
        if fault == "conflict":
            self._wait()
            raise TransientError("409: another request for this key is under way")
        if fault == "late":
            self.world.later(
                self.world.chance.uniform(0.05, self.world.chance.choice((4, 4, 150))),
                lambda: self._land(key, bytes(body)),
            )
            self._wait()
            raise TransientError("no answer came")
        created = self._asked(fault, lambda: self._land(key, bytes(body)))
        return created and fault != "echo"

    def _land(self, key: str, body: bytes) -> bool:
        return self.bucket.create(key, body)

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        body = self._asked(self._fault(READ_FAULTS), lambda: self.bucket.objects.get(key))
        if body is None:
            raise MissingError(f"there is no {key}")
        if len(body) > limit:
            raise BrokenError(f"{key} is too large")
        return body

    def size(self, key: str) -> int | None:
        body = self._asked(self._fault(READ_FAULTS), lambda: self.bucket.objects.get(key))
        return None if body is None else len(body)

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        found = self._asked(self._fault(READ_FAULTS), lambda: self._shard(0, prefix, after))
        for shard in range(1, SHARDS):
            self.world.pause(self.world.chance.expovariate(1))
            found += self._shard(shard, prefix, after)
        return iter(sorted(found))

    def _shard(self, shard: int, prefix: str, after: str) -> tuple[Listed, ...]:
        objects = self.bucket.objects
        keys = [key for key in self.bucket.index[shard] if key > after and key.startswith(prefix)]
        return tuple(Listed(key, len(objects[key])) for key in keys)

    def now(self) -> datetime:
        return instant(self.world)

    def give_a_sign(self, job: str, epoch: int) -> None:
        """Say that the holder of a claim lives."""

        def write() -> None:
            self.bucket.alive[job, epoch] = self.world.now

        self._asked(self._fault(READ_FAULTS), write)

    def last_sign(self, job: str, epoch: int) -> float | None:
        """Return when the holder of a claim last gave a sign of life, by the bucket's time."""
        return self._asked(self._fault(READ_FAULTS), lambda: self.bucket.alive.get((job, epoch)))

    def _fault(self, faults: dict[str, float]) -> str:
        if not self.world.stormy:
            return ""
        die = self.world.chance.random()
        for fault, share in faults.items():
            die -= share
            if die < 0:
                return fault
        return ""

    def _asked(self, fault: str, effect: Callable[[], Answer]) -> Answer:
        self._wait()
        if fault == "lost" or self.bucket.is_away():
            raise TransientError("503: the bucket is away")
        answer = effect()
        self._wait()
        if fault == "answer lost":
            raise TransientError("no answer came")
        return answer

    def _wait(self) -> None:
        self.world.pause(self.world.chance.uniform(0.001, 0.3))
