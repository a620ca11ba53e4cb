"""Signs of life of machine claims: one small object each, written over and over, judged by the store's own time.

No site's clock decides over a claim. What is written here is no history: only how old it is counts.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from relay.errors import RelayError
from relay.ledger.job_state import Job
from relay.model import digest_of
from relay.store.keys import ALIVE_PREFIX
from relay.store.port import Store

BEATS_PER_LEASE = 4


def alive_key(job: str, epoch: int) -> str:
    """Return where the signs of life of a claim lie."""
    return f"{ALIVE_PREFIX}{digest_of(job.encode())[:32]}-{epoch}"


class Life:
    """Writes and reads signs of life in one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def beat(self, job: str, epoch: int) -> None:
        """Say that the claim's holder is alive."""
        self._store.beat(alive_key(job, epoch))

    @contextmanager
    def beating(self, job: str, epoch: int, lease: int) -> Iterator[None]:
        """Give signs of life until the work is over."""
        over = threading.Event()

        def run() -> None:
            while not over.wait(lease / BEATS_PER_LEASE):
                try:
                    self.beat(job, epoch)
                except RelayError:
                    continue  # the store is away: the next sign may come through, or the claim lapses, rightly

        self.beat(job, epoch)
        heart = threading.Thread(target=run, name=f"heart of {job}", daemon=True)
        heart.start()
        try:
            yield
        finally:
            over.set()
            heart.join()

    def is_silent(self, job: Job) -> bool:
        """Answer whether the holder of a machine's claim gave no sign for longer than its lease.

        A claim whose first sign is not there yet is given one lease from when this site first missed it: then this site
        writes the sign in the holder's stead, and the store's clock runs from that.
        """
        claim = job.claim
        if claim is None or claim.lease is None:
            return False
        key = alive_key(job.job, claim.epoch)
        age = self._store.age(key)
        if age is None:
            self._store.beat(key)
            return False
        return age > claim.lease
