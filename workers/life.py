"""Signs of life of machine claims: one small object each, written over and over, judged by the store's own time.

No site's clock decides over a claim. What is written here is no history: only how old it is counts.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from math import ceil

from relay.clock import Clock
from relay.errors import RelayError
from relay.ledger.job_state import Claim, Job
from relay.ledger.job_words import ClaimLapsed
from relay.store.keys import alive_key
from relay.store.port import Store

BEATS_PER_LEASE = 4


class Life:
    """Writes and reads signs of life in one store."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._looked: dict[tuple[str, int], float] = {}
        """Until when, by our stopwatch, a claim that was looked at cannot have lapsed."""

    def beat(self, job: str, epoch: int) -> None:
        """Say that the claim's holder is alive."""
        self._store.beat(alive_key(job, epoch))

    @contextmanager
    def beating(self, job: str, epoch: int, lease: int) -> Iterator[None]:
        """Give signs of life until the work is over."""
        over = threading.Event()

        def run() -> None:
            while not over.wait(lease / BEATS_PER_LEASE):
                with suppress(RelayError):  # the next sign may come through, or the claim lapses, rightly
                    self.beat(job, epoch)

        self.beat(job, epoch)
        heart = threading.Thread(target=run, name=f"heart of {job}", daemon=True)
        heart.start()
        try:
            yield
        finally:
            over.set()

    def lapsed(self, job: Job) -> ClaimLapsed | None:
        """Return what is to be said where the holder of a machine's claim gave no sign for longer than its lease.

        A claim whose first sign is not there yet is given one lease from when this site first missed it: then this site
        writes the sign in the holder's stead, and the store's clock runs from that. No claim is looked at more often
        than it can lapse.
        """
        claim = job.claim
        if claim is None or claim.lease is None or self._clock.ticks() < self._looked.get((job.job, claim.epoch), 0):
            return None
        return self._asked(job.job, claim, claim.lease)

    def _asked(self, job: str, claim: Claim, lease: int) -> ClaimLapsed | None:
        key, asked = alive_key(job, claim.epoch), self._clock.ticks()
        age = self._store.age(key)
        if age is None:
            self._store.beat(key)
            age = 0.0
        if age > lease:
            return ClaimLapsed(job=job, epoch=claim.epoch, silent=ceil(age))
        self._looked[job, claim.epoch] = asked + lease - age
        return None

    def forget_all_but(self, jobs: list[Job]) -> None:
        """Forget what was remembered of claims that are over."""
        live = {(job.job, job.claim.epoch) for job in jobs if job.claim}
        for key in self._looked.keys() - live:
            del self._looked[key]
