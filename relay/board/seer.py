"""Forecasts beside the watch, in a thread of their own: a plan takes seconds, and nobody waits for it."""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from relay.board.rows.foreseen import Foreseen, foreseen
from relay.board.rows.view import Outlook
from relay.clock import Clock
from relay.errors import RelayError
from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, forecast
from relay.forecast.patience import EXACT, patience
from relay.ledger.state import State
from relay.shifts.calendar import NeverOpensError

LOG = logging.getLogger("relay.board")

SECONDS = 1.0
"""For one plan; the command may be given more."""

EVERY = 120.0
"""Seconds between two plans, while somebody watches."""

GOODBYE = 10.0
"""Seconds that a plan under way is given when the board stops: a solver whose process ends around it ends it badly."""


@dataclass(frozen=True, eq=False)
class Foresight:
    """The newest forecast, as it is and as rows; or why there is none."""

    found: Forecast | None = None
    rows: Foreseen | None = None
    why_not: str = "It is being reckoned: it comes by itself, in some seconds."

    @cached_property
    def outlook(self) -> Outlook | None:
        """Return when the reels and the whole are expected to be done; None where nothing is left."""
        found = self.found
        if found is None or found.is_done:
            return None
        finishes = {reel.reel: reel.finish for reel in found.reels}
        return Outlook(finish=found.finish, low=found.low, high=found.high, reels=finishes)


NOT_YET = Foresight()


def foresight_of(state: State, now: datetime, clock: Clock) -> Foresight:
    """Return a forecast of `state`. Raises RefusedError where something is impossible, and names it."""
    found = forecast(Ground.of(state, now), patience(clock, SECONDS), exact_seconds=EXACT * SECONDS)
    return Foresight(found, foreseen(found))


class Seer:
    """Reckons at most one forecast at a time."""

    def __init__(
        self,
        clock: Clock,
        tell: Callable[[Foresight], None],
        reckon: Callable[[State, datetime, Clock], Foresight] = foresight_of,
    ) -> None:
        self._clock = clock
        self._tell = tell
        self._reckon = reckon
        self._last = float("-inf")
        self._busy = threading.Lock()
        self._thread: threading.Thread | None = None

    def stop(self) -> None:
        """Wait until no plan is under way, within reason."""
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
            self._tell(self._reckon(state, now, self._clock))
        except (RelayError, NeverOpensError) as error:
            LOG.info("there is no forecast: %s", error)
            self._tell(Foresight(why_not=f"{error}"))
        finally:
            self._busy.release()
