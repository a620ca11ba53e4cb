"""Forecasts beside the watch, in a thread of their own: a plan takes seconds, and nobody waits for it."""

import logging
import threading
from collections.abc import Callable
from datetime import datetime

from relay.board.rows.view import Outlook
from relay.clock import Clock
from relay.errors import RelayError
from relay.forecast.ground import Ground
from relay.forecast.outlook import forecast
from relay.forecast.patience import patience
from relay.ledger.state import State
from relay.shifts.calendar import NeverOpensError

LOG = logging.getLogger("relay.board")

SECONDS = 1.0
"""For one plan; the command may be given more."""

EVERY = 120.0
"""Seconds between two plans, while somebody watches."""


class Seer:
    """Reckons at most one forecast at a time."""

    def __init__(self, clock: Clock, tell: Callable[[Outlook | None], None]) -> None:
        self._clock = clock
        self._tell = tell
        self._last = float("-inf")
        self._busy = threading.Lock()

    def look(self, state: State, now: datetime) -> None:
        """Begin a forecast of `state`, unless one is under way or the last is young."""
        if self._clock.ticks() - self._last < EVERY or not self._busy.acquire(blocking=False):
            return
        self._last = self._clock.ticks()
        threading.Thread(target=self._run, args=(state, now), name="board's seer", daemon=True).start()

    def _run(self, state: State, now: datetime) -> None:
        try:
            self._tell(outlook_of(state, now, self._clock))
        except (RelayError, NeverOpensError) as error:
            LOG.info("there is no forecast: %s", error)
            self._tell(None)
        finally:
            self._busy.release()


def outlook_of(state: State, now: datetime, clock: Clock) -> Outlook | None:
    """Return when the reels and the whole are expected to be done; None where nothing is left. Raises RefusedError."""
    found = forecast(Ground.of(state, now), patience(clock, SECONDS))
    if found.is_done:
        return None
    return Outlook(finish=found.finish, low=found.low, high=found.high, reels={r.reel: r.finish for r in found.reels})
