"""What a site speaks with while a program runs for long: its pen, its ledger and a lock, since a ledger is for one
thread at a time.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from relay.clock import Clock
from relay.errors import TransientError
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.store.port import Store
from relay.transfer.manifests import Manifests

PATIENCE = 20.0
"""Seconds that somebody waits for another of the same site to finish speaking."""


@dataclass(frozen=True)
class Seat:
    """One site at one production."""

    pen: Pen
    ledger: Ledger
    store: Store
    manifests: Manifests
    clock: Clock
    ring: Callable[[], None]
    """Wakes whoever has something to do after what was said."""
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def site(self) -> str:
        return self.pen.name

    @contextmanager
    def alone(self, patience: float = PATIENCE) -> Iterator[Ledger]:
        """Hold the ledger alone. Raises TransientError when it stays busy, as while the store does not answer."""
        if not self.lock.acquire(timeout=patience):
            raise TransientError(f"{self.site}'s ledger is busy: {self.store.name} is slow to answer. Try again soon")
        try:
            yield self.ledger
        finally:
            self.lock.release()
