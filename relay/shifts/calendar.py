"""When a site works: its shifts, less days off and closures, with overtime, as minutes in UTC.

A day off takes out the shifts that begin on it, up to their end on the next day; closed hours take out just those
hours; overtime is worked whatever else is said. What begins and ends is what the clock on the site's wall shows (see
`zones.minute_shown`), so a night on which the clock is changed has an hour more or less of true time.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from relay.model.hours import WEEK, Closure, Shift, Span
from relay.shifts.windows import Window, earlier, joined, later, within, without, worked
from relay.shifts.zones import local_of, minute_shown, zone_named

_DAY = timedelta(days=1)
_REACH = 2 * 24 * 60
"""Minutes: a shift may begin on the local day before, and a clock may be a day off that of UTC."""
FIRST_LOOK = 14 * 24 * 60
"""Minutes ahead within which the end of some work is sought first; then twice as far, and so on."""
LONGEST_LOOK = 20 * 366 * 24 * 60
"""Minutes, twenty years: work that does not fit into them is never done."""


class NeverOpensError(ValueError):
    """A site does not work long enough, in all the years that anybody plans for."""


def no_holiday(_day: date) -> str | None:
    """Return the public holiday on a day, where none is kept."""
    return None


@dataclass(frozen=True)
class Calendar:
    """The working time of one site."""

    site: str
    zone: str
    shifts: tuple[Shift, ...]
    closed: tuple[Closure, ...] = ()
    overtime: tuple[Span, ...] = ()
    holiday_on: Callable[[date], str | None] = field(default=no_holiday, compare=False)
    """The name of the public holiday on a day, or None."""

    def windows(self, start: int, end: int) -> list[Window]:
        """Return the working time between two minutes, each counted from 1970-01-01 UTC."""
        if end <= start:
            return []
        regular = joined(self._shifts_between(start, end))
        open_hours = without(regular, (self._span(each) for each in self.closed if each.is_hours))
        return within(joined([*open_hours, *(self._span(each) for each in self.overtime)]), start, end)

    def worked(self, start: int, end: int) -> int:
        """Return the working minutes between two minutes; negative where `end` is before `start`."""
        return worked(self.windows(min(start, end), max(start, end)), start, end)

    def later(self, start: int, minutes: int) -> int:
        """Return the minute by which `minutes` of work are done, begun at `start`. Raises NeverOpensError."""
        return self._sought(minutes, lambda look: later(self.windows(start, start + look), start, minutes))

    def earlier(self, end: int, minutes: int) -> int:
        """Return the last minute to begin `minutes` of work that must be done by `end`. Raises NeverOpensError."""
        return self._sought(minutes, lambda look: earlier(self.windows(end - look, end), end, minutes))

    def is_open(self, minute: int) -> bool:
        """Answer whether the site works at `minute`."""
        return bool(self.windows(minute, minute + 1))

    def day_off(self, day: date) -> str | None:
        """Return why no shift begins on a local day, or None."""
        for each in self.closed:
            if not each.is_hours and each.begins <= day <= each.ends:
                return each.why or "closed"
        return self.holiday_on(day)

    def local(self, minute: int) -> datetime:
        """Return what the clock on the site's wall shows."""
        return local_of(minute, zone_named(self.zone))

    def _sought(self, minutes: int, look_ahead: Callable[[int], int | None]) -> int:
        if minutes < 0:
            raise ValueError(f"{minutes} minutes of work: expected none or more")
        look = FIRST_LOOK
        while (found := look_ahead(look)) is None:
            if look >= LONGEST_LOOK or not (self.shifts or self.overtime):
                raise NeverOpensError(f"{self.site} never works for {minutes} minutes: give it a shift that opens")
            look = min(2 * look, LONGEST_LOOK)
        return found

    def _shifts_between(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        day, last = self.local(start - _REACH).date(), self.local(end + _REACH).date()
        while day <= last:
            if self.day_off(day) is None:
                yield from (self._shift_on(day, shift) for shift in self.shifts if WEEK[day.weekday()] in shift.days)
            day += _DAY

    def _shift_on(self, day: date, shift: Shift) -> tuple[int, int]:
        return self._shown(day, shift.begins), self._shown(day + _DAY if shift.is_overnight else day, shift.ends)

    def _shown(self, day: date, at: time) -> int:
        return minute_shown(datetime.combine(day, at), zone_named(self.zone))

    def _span(self, each: Closure | Span) -> tuple[int, int]:
        zone = zone_named(self.zone)
        return minute_shown(_local(each.begins), zone), minute_shown(_local(each.ends), zone)


def _local(moment: date) -> datetime:
    return moment if isinstance(moment, datetime) else datetime.combine(moment, time())
