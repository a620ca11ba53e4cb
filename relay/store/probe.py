"""Asks a store for each of its promises, by racing, watching and looking again, and leaves nothing behind.

Many servers that speak S3 silently ignore `If-None-Match`, and then two sites would hold one job. So no production is
created on a store that was not asked. A probe can find a promise broken; that it is kept is only likely after it.
"""

import secrets
from collections.abc import Sequence
from typing import Literal, Protocol, runtime_checkable

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, RefusedError
from relay.model import Frozen, digest_of
from relay.store.keys import PROBE_PREFIX
from relay.store.port import Store
from relay.store.trial import SIZES, Finding, Trial, Watch

WRITERS = 16
KEYS = 50
AT_A_TIME = 10  # keys

Versioning = Literal["on", "off", "unknown"]


@runtime_checkable
class TellsVersioning(Protocol):
    """A store that knows whether it keeps what is overwritten or deleted."""

    def versioning(self) -> Versioning:
        """Return what is known of it."""


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
    sizes: Sequence[int] = SIZES,
    watch: Watch = lambda _promise, _done, _of: None,
) -> Report:
    """Ask the place that `store` and `second`, two clients of it, share.

    `keys` are raced for and looked for, `sizes` are the bytes of the objects that are watched while they come; `watch`
    is told how many are done.
    """
    started = clock.ticks()
    trial = Trial(store, second, f"{PROBE_PREFIX}{secrets.token_hex(8)}", watch, clock)
    skew = round((store.now() - clock.now()).total_seconds())
    try:
        findings = (trial.once(writers, keys, at_a_time), trial.whole(sizes), trial.at_once(keys, at_a_time))
        refuses = _refuses_altered(store, f"{trial.prefix}/altered")
        versioning = store.versioning() if isinstance(store, TellsVersioning) else "unknown"
    finally:
        left = trial.tidy()
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
