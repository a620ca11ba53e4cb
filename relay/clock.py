"""The only place that asks the time or waits. Instants are aware and in UTC, with whole seconds."""

import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """What the rest of the house asks: now, a stopwatch, and to wait."""

    def now(self) -> datetime:
        """Return the present instant, in UTC, to the second."""

    def ticks(self) -> float:
        """Return seconds on a stopwatch that never goes back; only differences mean anything."""

    def wait(self, seconds: float) -> None:
        """Return after `seconds`."""


class SystemClock:
    """The machine's own clock."""

    def now(self) -> datetime:
        return datetime.now(UTC).replace(microsecond=0)  # noqa: TID251  this is the home of the clock

    def ticks(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)  # noqa: TID251  this is the home of waiting


SYSTEM_CLOCK = SystemClock()
