"""Asks a store for each of its promises, by racing, watching and looking again, and leaves nothing behind.

Many servers that speak S3 silently ignore `If-None-Match`, and then two sites would hold one job. So no production is
created on a store that was not asked. A probe can find a promise broken; that it is kept is only likely after it.

A key that many writers fight over costs some servers seconds, whatever else they do meanwhile: so several keys are
fought over at a time, each by all of its writers.
"""

import secrets
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event
from typing import Literal, NamedTuple, Protocol, runtime_checkable

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, MissingError, RefusedError
from relay.model import Frozen, digest_of
from relay.store.keys import PROBE_PREFIX
from relay.store.port import Store

WRITERS = 16
KEYS = 50
AT_A_TIME = 10  # keys
_LARGE = 2 * 1024 * 1024  # bytes, so that writing takes a while
_LARGE_ONES = 6
_READERS = 2
_LOOKS = 8
_BETWEEN_LOOKS = 0.25  # seconds

Promise = Literal["once", "whole", "at once"]
Versioning = Literal["on", "off", "unknown"]
Watch = Callable[[Promise, int, int], None]


@runtime_checkable
class TellsVersioning(Protocol):
    """A store that knows whether it keeps what is overwritten or deleted."""

    def versioning(self) -> Versioning:
        """Return what is known of it."""


class Finding(Frozen):
    """What was found of one promise, and how."""

    promise: Promise
    kept: bool
    evidence: str


class Report(Frozen):
    """What a probe found. Only the findings decide; the rest is for people to know."""

    store: str
    findings: tuple[Finding, ...]
    refuses_altered_bodies: bool
    """Whether the store itself compares what arrives with the SHA-256 that it was announced with."""
    skew: int
    """Seconds by which the store's clock is ahead of ours."""
    versioning: Versioning
    left_behind: int
    """Traces of the probe that could not be removed."""
    seconds: float

    def lines(self) -> Sequence[str]:
        """Return the report for people, a sentence a line."""
        kept = [
            f"{finding.promise}: {'kept' if finding.kept else 'BROKEN'}; {finding.evidence}"
            for finding in self.findings
        ]
        checks = "refuses" if self.refuses_altered_bodies else "does not notice"
        return [
            f"{self.store}, asked for {self.seconds:.0f} s",
            *kept,
            f"a body that differs from its SHA-256: the store {checks} it",
            f"clock: {abs(self.skew)} s {'ahead of' if self.skew >= 0 else 'behind'} this machine's",
            f"versioning: {self.versioning}",
            *([f"{self.left_behind} objects under {PROBE_PREFIX} could not be removed"] if self.left_behind else []),
        ]


def check_promises(report: Report) -> None:
    """Raise RefusedError where the store broke a promise."""
    broken = [f"{finding.promise!r} ({finding.evidence})" for finding in report.findings if not finding.kept]
    if broken:
        raise RefusedError(
            f"{report.store} does not keep what a production stands on: {'; '.join(broken)}. Expected: of all creates "
            "of a key one takes effect, readers see all or nothing, and at once. Choose another store."
        )


def probe(
    store: Store,
    second: Store,
    *,
    clock: Clock = SYSTEM_CLOCK,
    writers: int = WRITERS,
    keys: int = KEYS,
    at_a_time: int = AT_A_TIME,
    watch: Watch = lambda _promise, _done, _of: None,
) -> Report:
    """Ask the place that `store` and `second`, two clients of it, share; `watch` is told how many keys are done."""
    started = clock.ticks()
    place = _Place(store, second, f"{PROBE_PREFIX}{secrets.token_hex(8)}", watch, clock)
    try:
        findings = (place.once(writers, keys, at_a_time), place.whole(), place.at_once(keys, at_a_time))
        refuses = _refuses_altered(store, f"{place.prefix}/altered")
        skew = round((store.now() - clock.now()).total_seconds())
        versioning = store.versioning() if isinstance(store, TellsVersioning) else "unknown"
    finally:
        left = place.tidy()
    return Report(
        store=store.name,
        findings=findings,
        refuses_altered_bodies=refuses,
        skew=skew,
        versioning=versioning,
        left_behind=left,
        seconds=round(clock.ticks() - started, 1),
    )


def _refuses_altered(store: Store, key: str) -> bool:
    try:
        store.create(key, b"what arrives", digest_of(b"what was announced"))
    except BrokenError:
        return True
    return False


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


class _Place:
    def __init__(self, store: Store, second: Store, prefix: str, watch: Watch, clock: Clock) -> None:
        self.prefix = prefix
        self._store = store
        self._second = second
        self._watch = watch
        self._clock = clock

    def once(self, writers: int, keys: int, at_a_time: int) -> Finding:
        names = [f"{self.prefix}/once/{number:04d}" for number in range(keys)]
        faults = []
        with ThreadPoolExecutor(writers * at_a_time) as pool, ThreadPoolExecutor(at_a_time) as judges:
            for done, fault in enumerate(
                judges.map(lambda name: self._raced(pool, name, writers).fault(self._second, self._clock), names)
            ):
                self._watch("once", done + 1, keys)
                faults += [fault] if fault else []
        return _finding("once", faults, keys, f"{writers} writers raced for each of {keys} keys")

    def _raced(self, pool: ThreadPoolExecutor, key: str, writers: int) -> _Race:
        bodies = tuple(f"{number} of {writers} writers of {key}".encode() for number in range(writers))
        start = Barrier(writers)

        def write(number: int) -> bool:
            start.wait()
            client = self._store if number % 2 else self._second
            return client.create(key, bodies[number], digest_of(bodies[number]))

        return _Race(key, bodies, tuple(pool.map(write, range(writers))))

    def whole(self) -> Finding:
        bodies = {f"{self.prefix}/whole/{number}": secrets.token_bytes(_LARGE) for number in range(_LARGE_ONES)}
        finished = Event()
        with ThreadPoolExecutor(_READERS) as pool:
            watching = [pool.submit(self._watched, bodies, finished) for _ in range(_READERS)]
            try:
                for done, (key, body) in enumerate(bodies.items()):
                    self._store.create(key, body, digest_of(body))
                    self._watch("whole", done + 1, len(bodies))
            finally:
                finished.set()
            faults = [fault for seen in watching for fault in seen.result()]
        what = f"{_READERS} readers watched {len(bodies)} objects of {_LARGE >> 20} MiB come"
        return _finding("whole", faults, _READERS * len(bodies), what)

    def _watched(self, bodies: dict[str, bytes], finished: Event) -> list[str]:
        """Read each object as soon as it is there, and return what was only a part of one."""
        rest = dict(bodies)
        faults = []
        while rest:
            last_look = finished.is_set()
            key, body = next(iter(rest.items()))
            listed = [line.size for line in self._second.list(key)]
            found = _read(self._second, key)
            sizes = {*listed, *([] if found is None else [len(found)])}
            if sizes - {len(body)} or found not in {None, body}:
                faults.append(f"{key} was seen with {sizes} bytes, and not as the {len(body)} that were created")
            if sizes:
                del rest[key]
            elif last_look:
                break
        return faults

    def at_once(self, keys: int, at_a_time: int) -> Finding:
        names = [f"{self.prefix}/at-once/{number:04d}" for number in range(keys)]
        faults = []
        with ThreadPoolExecutor(at_a_time) as pool:
            for done, fault in enumerate(pool.map(self._delay_of, names, ["", *names[:-1]])):
                self._watch("at once", done + 1, keys)
                faults += [fault] if fault else []
        return _finding("at once", faults, keys, f"a second client looked for {keys} keys right after each was created")

    def _delay_of(self, key: str, before: str) -> str | None:
        body = key.encode()
        if _read(self._second, key) is not None:  # some would remember for a while that there was nothing
            return f"{key} was there before it was created"
        self._store.create(key, body, digest_of(body))
        if _read(self._second, key) != body:
            return f"{key} could not be read right after it was created"
        if self._second.size(key) != len(body):
            return f"{key} had no size right after it was created"
        if key not in [line.key for line in self._second.list(f"{self.prefix}/at-once/", after=before)]:
            return f"{key} was not listed right after it was created"
        return None

    def tidy(self) -> int:
        """Remove every trace, and return how many would not go."""
        traces = [line.key for line in self._store.list(f"{self.prefix}/")]
        with ThreadPoolExecutor(WRITERS) as pool:
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
