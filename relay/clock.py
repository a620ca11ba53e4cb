"""The only place that asks the time or waits. Instants are aware and in UTC, with whole seconds."""

import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol, Self


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


@dataclass(frozen=True)
class Pace:
    """How a demonstration lets days pass quickly: at `begun` it is `shown`, and each second counts as `times`."""

    times: int
    begun: datetime
    shown: datetime

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return what `1440 2026-11-25T21:30:00Z 2027-08-30T06:00:00Z` means. Raises ValueError."""
        times, begun, shown = text.split()
        pace = cls(int(times), datetime.fromisoformat(begun), datetime.fromisoformat(shown))
        if not 1 <= pace.times <= 100_000 or pace.begun.tzinfo is None or pace.shown.tzinfo is None:
            raise ValueError(f"{text!r} is no pace")
        return pace


class FastClock(SystemClock):
    """Shows another day than the machine, and lets it pass at a pace. Its stopwatch and its waiting are the machine's.

    Every process that is given the same pace shows the same instant.
    """

    def __init__(self, pace: Pace) -> None:
        self._pace = pace

    def now(self) -> datetime:
        passed = datetime.now(UTC) - self._pace.begun  # noqa: TID251  this is the home of the clock
        return (self._pace.shown + passed * self._pace.times).astimezone(UTC).replace(microsecond=0)
