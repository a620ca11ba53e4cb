"""When to try again what went wrong. In memory only: a new start tries everything at once."""

import threading
from dataclasses import dataclass

from relay.clock import Clock
from relay.errors import LostRaceError, RelayError, TransientError

LONGEST = 600.0
"""Seconds until what needs a person is looked at again, at most: the person may have mended it meanwhile."""


@dataclass
class _Trouble:
    times: int
    until: float


class Patience:
    """What failed, and until when it is left alone. Used by all lanes of a site."""

    def __init__(self, clock: Clock, first: float) -> None:
        self._clock = clock
        self._first = first
        """Seconds for which what failed once is left alone; each further time doubles it."""
        self._troubles: dict[str, _Trouble] = {}
        self._lock = threading.Lock()

    def allows(self, what: str) -> bool:
        """Answer whether `what` may be tried now."""
        with self._lock:
            trouble = self._troubles.get(what)
            return trouble is None or self._clock.ticks() >= trouble.until

    def failed(self, what: str, error: RelayError | None = None) -> None:
        """Leave `what` alone for a while, unless `error` passes by itself."""
        if isinstance(error, TransientError | LostRaceError):
            return
        with self._lock:
            trouble = self._troubles.setdefault(what, _Trouble(0, 0.0))
            trouble.times += 1
            trouble.until = self._clock.ticks() + min(LONGEST, self._first * 2 ** min(trouble.times - 1, 20))

    def succeeded(self, what: str) -> None:
        """Forget what was wrong with `what`."""
        with self._lock:
            self._troubles.pop(what, None)
