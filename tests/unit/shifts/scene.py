"""Calendars that tests are about, and a clock that is read minute by minute: slow, and nothing like the tool's sums."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from relay.model import Closure, Shift, Span, Weekday
from relay.shifts.calendar import Calendar
from relay.shifts.zones import minute_of

WEEK = tuple(Weekday)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def utc(text: str) -> int:
    """Return the minute of an instant such as 2026-03-29T01:00Z."""
    return minute_of(datetime.fromisoformat(text))


def shift(begins: str, ends: str, days: tuple[Weekday, ...] = WEEK) -> Shift:
    return Shift(days=days, begins=time.fromisoformat(begins), ends=time.fromisoformat(ends))


def calendar(zone: str, *shifts: Shift, **more: object) -> Calendar:
    return Calendar(site="halifax", zone=zone, shifts=shifts, **more)  # type: ignore[arg-type]


class WallClock:
    """What the clock on a wall showed at each minute from `first` on, and the latest time that it had shown by then."""

    def __init__(self, zone: str, first: int, last: int) -> None:
        self.first = first
        place, latest = ZoneInfo(zone), datetime(1, 1, 1)
        self.shown: list[datetime] = []
        self.latest: list[datetime] = []
        for minute in range(first, last):
            shown = (EPOCH + timedelta(minutes=minute)).astimezone(place).replace(tzinfo=None)
            latest = max(latest, shown)
            self.shown.append(shown)
            self.latest.append(latest)

    def minutes_between(self, begins: datetime, ends: datetime) -> set[int]:
        """Return the minutes at which the clock had shown `begins` already, and not yet `ends`."""
        return {self.first + i for i, latest in enumerate(self.latest) if begins <= latest < ends}


def counted(calendar: Calendar, first: int, last: int) -> set[int]:
    """Return every working minute from `first` up to `last`, found by looking at the clock at each minute."""
    clock = WallClock(calendar.zone, first - 4 * 1440, last)
    minutes: set[int] = set()
    day = clock.shown[0].date()
    while day <= clock.shown[-1].date():
        for each in calendar.shifts:
            if WEEK[day.weekday()] in each.days and not is_off(calendar, day):
                over = day + timedelta(days=1) if each.ends <= each.begins else day
                minutes |= clock.minutes_between(_at(day, each.begins), _at(over, each.ends))
        day += timedelta(days=1)
    for cut in calendar.closed:
        if isinstance(cut.begins, datetime) and isinstance(cut.ends, datetime):
            minutes -= clock.minutes_between(cut.begins, cut.ends)
    for more in calendar.overtime:
        minutes |= clock.minutes_between(more.begins, more.ends)
    return {minute for minute in minutes if first <= minute < last}


def _at(day: date, at: time) -> datetime:
    return datetime.combine(day, at)


def is_off(calendar: Calendar, day: date) -> bool:
    days = [(cut.begins, cut.ends) for cut in calendar.closed if not isinstance(cut.begins, datetime)]
    return calendar.holiday_on(day) is not None or any(begins <= day <= ends for begins, ends in days)


def hours(begins: str, ends: str) -> Span:
    return Span(begins=datetime.fromisoformat(begins), ends=datetime.fromisoformat(ends))


def off(begins: str, ends: str | None = None) -> Closure:
    """Return days off, or closed hours where local times are given."""
    return Closure.model_validate({"from": begins, "to": ends or begins})
