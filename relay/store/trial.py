"""Puts a store to the trial, one promise after the other, as hard as two clients can.

*Once*: a key that many writers fight over costs some servers seconds, whatever else they do meanwhile; so several keys
are fought over at a time, each by all of its writers. Some carry large bodies, for a server that asks whether the key
is free before the body is there.

*Whole*: an object is half there for as long as its writing takes, and only somebody who looks meanwhile can see it. So
nobody writes before every reader is looking for that very object, and each reader looks in one way, over and over.

*At once*: what is looked for first has the least time to appear; so every way of looking comes first in its turn.
"""

import secrets
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event, Semaphore
from typing import Literal, NamedTuple

from relay.clock import Clock
from relay.errors import MissingError, RefusedError
from relay.model import Frozen, digest_of
from relay.store.port import Store

MIB = 1024 * 1024
SIZES = (*[2 * MIB] * 12, *[8 * MIB] * 2)
"""Bytes of the objects that are watched while they come."""
EVERY = 5  # of so many keys that are raced for, one carries large bodies
_HEAVY = 64 * 1024  # bytes
_TIDIERS = 16
_GLANCE = 0.0005  # seconds between two looks of a reader: it shall not slow the writing by looking
_LOOKS = 8
_BETWEEN_LOOKS = 0.25  # seconds

Promise = Literal["once", "whole", "at once"]
Watch = Callable[[Promise, int, int], None]
Look = Callable[[Store, str], bytes | int | None]
"""Returns the bytes of a key or how many there are, and None where there is no such key."""


class Finding(Frozen):
    """What was found of one promise, and how."""

    promise: Promise
    kept: bool
    evidence: str


class _Race(NamedTuple):
    key: str
    bodies: tuple[bytes, ...]
    won: tuple[bool, ...]

    def fault(self, store: Store, clock: Clock) -> str | None:
        """Return what is wrong with how it ended."""
        winners = [body for body, won in zip(self.bodies, self.won, strict=True) if won]
        if len(winners) > 1:
            return f"{len(winners)} of {len(self.won)} writers of {self.key} were told that they created it"
        found = _read_at_last(store, self.key, clock)
        if found not in (winners or self.bodies):
            return f"{self.key} holds other bytes than its creator's, or none"
        late = b"too late"
        if store.create(self.key, late, digest_of(late)) or _read_at_last(store, self.key, clock) != found:
            return f"{self.key} was created again after it had been there"
        return None


class Trial:
    """What two clients of one place do to it, under `prefix`; `watch` is told how many keys are done."""

    def __init__(self, store: Store, second: Store, prefix: str, watch: Watch, clock: Clock) -> None:
        self.prefix = prefix
        self._store = store
        self._second = second
        self._watch = watch
        self._clock = clock

    def once(self, writers: int, keys: int, at_a_time: int) -> Finding:
        """Let all writers create one key at the same moment, over and over."""
        names = [f"{self.prefix}/once/{number:04d}" for number in range(keys)]
        faults = []
        with ThreadPoolExecutor(writers * at_a_time) as pool, ThreadPoolExecutor(at_a_time) as judges:
            races = judges.map(lambda number: self._raced(pool, names[number], writers, number), range(keys))
            for done, fault in enumerate(races):
                self._watch("once", done + 1, keys)
                faults += [fault] if fault else []
        return _finding("once", faults, keys, f"{writers} writers raced for each of {keys} keys")

    def _raced(self, pool: ThreadPoolExecutor, key: str, writers: int, number: int) -> str | None:
        bulk = bytes(_HEAVY if number % EVERY == 0 else 0)
        bodies = tuple(f"{writer} of {writers} writers of {key}".encode() + bulk for writer in range(writers))
        start = Barrier(writers)

        def write(writer: int) -> bool:
            digest = digest_of(bodies[writer])
            client = self._store if writer % 2 else self._second
            start.wait()
            return client.create(key, bodies[writer], digest)

        return _Race(key, bodies, tuple(pool.map(write, range(writers)))).fault(self._second, self._clock)

    def whole(self, sizes: Sequence[int] = SIZES) -> Finding:
        """Create objects of these many bytes, each while every reader looks for it."""
        faults = []
        # Noise is what no server makes smaller; drawn once, since a new one for each would take long.
        noise = secrets.token_bytes(max(sizes, default=0))
        with ThreadPoolExecutor(len(_READERS)) as pool:
            for number, size in enumerate(sizes):
                key = f"{self.prefix}/whole/{number:04d}"
                faults += self._watched(pool, key, (key.encode() + noise)[:size])
                self._watch("whole", number + 1, len(sizes))
        told = " and ".join(f"{sizes.count(size)} objects of {size // MIB} MiB" for size in sorted(set(sizes)))
        return _finding("whole", faults, len(_READERS) * len(sizes), f"{len(_READERS)} readers watched {told} come")

    def _watched(self, pool: ThreadPoolExecutor, key: str, body: bytes) -> list[str]:
        ready, created = Semaphore(0), Event()
        digest = digest_of(body)
        readers = [pool.submit(self._first_sight, look, key, ready, created) for look in _READERS]
        try:
            for _ in readers:
                ready.acquire()
            self._store.create(key, body, digest)
        finally:
            created.set()
        partly = [sight for sight in (reader.result() for reader in readers) if sight not in (None, body, len(body))]
        return [
            f"{key} was seen with {sight if isinstance(sight, int) else len(sight)} bytes, and not as the {len(body)} "
            "that were created"
            for sight in partly
            if sight is not None
        ]

    def _first_sight(self, look: Look, key: str, ready: Semaphore, created: Event) -> bytes | int | None:
        """Return what there was when the key was first seen; None: it never was."""
        try:
            seen = look(self._second, key)
        finally:
            ready.release()
        while seen is None:
            self._clock.wait(_GLANCE)
            last_look = created.is_set()
            seen = look(self._second, key)
            if last_look:
                break
        return seen

    def at_once(self, keys: int, at_a_time: int) -> Finding:
        """Look for each key, in every way, as soon as it was created."""
        names = [f"{self.prefix}/at-once/{number:04d}" for number in range(keys)]
        faults = []
        with ThreadPoolExecutor(at_a_time) as pool:
            for done, fault in enumerate(pool.map(self._missed, range(keys), names, ["", *names[:-1]])):
                self._watch("at once", done + 1, keys)
                faults += [fault] if fault else []
        return _finding("at once", faults, keys, f"a second client looked for {keys} keys right after each was created")

    def _missed(self, number: int, key: str, before: str) -> str | None:
        body = key.encode()
        if _read(self._second, key) is not None:  # some would remember for a while that there was nothing
            return f"{key} was there before it was created"
        looks: list[tuple[str, Callable[[], bool]]] = [
            ("could not be read", lambda: _read(self._second, key) == body),
            ("had no size", lambda: self._second.size(key) == len(body)),
            ("was not listed", lambda: key in self._listed(before)),
        ]
        turn = number % len(looks)
        self._store.create(key, body, digest_of(body))
        missed = [what for what, is_there in looks[turn:] + looks[:turn] if not is_there()]
        return f"{key} {' and '.join(missed)} right after it was created" if missed else None

    def _listed(self, before: str) -> list[str]:
        return [line.key for line in self._second.list(f"{self.prefix}/at-once/", after=before)]

    def tidy(self) -> int:
        """Remove every trace, and return how many would not go."""
        traces = [line.key for line in self._store.list(f"{self.prefix}/")]
        with ThreadPoolExecutor(_TIDIERS) as pool:
            return sum(pool.map(self._stays, traces))

    def _stays(self, key: str) -> bool:
        try:
            self._store.discard(key)
        except RefusedError:
            return True
        return False


def _read(store: Store, key: str) -> bytes | None:
    try:
        return store.read(key)
    except MissingError:
        return None


def _bytes_listed(store: Store, key: str) -> int | None:
    return next((line.size for line in store.list(key)), None)


def _bytes_told(store: Store, key: str) -> int | None:
    return store.size(key)


_READERS: tuple[Look, ...] = (_read, _read, _bytes_listed, _bytes_told)


def _read_at_last(store: Store, key: str, clock: Clock) -> bytes | None:
    """Return what lies there in the end: that it is there at once is another promise."""
    for _ in range(_LOOKS):
        found = _read(store, key)
        if found is not None:
            return found
        clock.wait(_BETWEEN_LOOKS)
    return None


def _finding(promise: Promise, faults: Sequence[str], of: int, how: str) -> Finding:
    if not faults:
        return Finding(promise=promise, kept=True, evidence=how)
    return Finding(
        promise=promise, kept=False, evidence=f"{how}; {len(faults)} of {of} times broken, first: {faults[0]}"
    )
