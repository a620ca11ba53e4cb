"""Forecasts beside the watch, asked for in a thread of their own: a plan takes seconds, and nobody waits for it."""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from relay.board.reckoning import Reckoner
from relay.board.rows.foreseen import Foreseen
from relay.board.rows.view import Outlook
from relay.clock import Clock
from relay.errors import RelayError
from relay.ledger.state import State

LOG = logging.getLogger("relay.board")

EVERY = 120.0
"""Seconds between two plans, while somebody watches."""

GOODBYE = 10.0
"""Seconds that a plan under way is given when the board stops: a solver whose process ends around it ends it badly."""


@dataclass(frozen=True)
class Foresight:
    """The newest forecast as rows; or why there is none."""

    rows: Foreseen | None = None
    outlook: Outlook | None = None
    """When the reels and the whole are expected to be done; None where nothing is left."""
    why_not: str = "It is being reckoned: it comes by itself, in some seconds."


NOT_YET = Foresight()


class Seer:
    """Reckons at most one forecast at a time."""

    def __init__(self, clock: Clock, reckoner: Reckoner, tell: Callable[[Foresight], None]) -> None:
        self._clock = clock
        self._tell = tell
        self._reckoner = reckoner
        self._last = float("-inf")
        self._busy = threading.Lock()
        self._thread: threading.Thread | None = None

    def stop(self) -> None:
        """End the plan that is under way, or wait for it within reason."""
        self._reckoner.stop()
        if self._thread is not None:
            self._thread.join(GOODBYE)

    def look(self, state: State, now: datetime) -> None:
        """Begin a forecast of `state`, unless one is under way or the last is young."""
        if self._clock.ticks() - self._last < EVERY or not self._busy.acquire(blocking=False):
            return
        self._last = self._clock.ticks()
        self._thread = threading.Thread(target=self._run, args=(state, now), name="board's seer", daemon=True)
        self._thread.start()

    def _run(self, state: State, now: datetime) -> None:
        try:
            found = self._reckoner.today(state, now)
            self._tell(Foresight(found.rows, found.outlook))
        except RelayError as error:
            LOG.info("there is no forecast: %s", error)
            self._tell(Foresight(why_not=f"{error}"))
        finally:
            self._busy.release()
