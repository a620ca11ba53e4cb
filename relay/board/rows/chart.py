"""A forecast as a drawing: rows of bars over hours and days, by site or by reel, cut to what is shown. Pure."""

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal, TypeVar
from zoneinfo import ZoneInfo

from relay.board.rows.foreseen import Bar, Flight, Foreseen, House
from relay.board.rows.sites import DAY_BEGINS, DAY_ENDS
from relay.board.rows.view import Span
from relay.forecast.words import moved
from relay.model import Frozen, ReelName
from relay.shifts.zones import minute_of

By = Literal["site", "reel"]
Far = Literal["days", "weeks", "all"]

FAR: Mapping[Far, timedelta] = {"days": timedelta(days=3), "weeks": timedelta(days=14)}
DAY = timedelta(days=1)

T = TypeVar("T")

DAYLIGHT_DAYS = 21
"""On a longer axis nobody tells day from night, and a long plan would draw thousands of bands."""

LONGEST = timedelta(days=3660)


class Tick(Frozen):
    """A place on the axis with a word."""

    at: datetime
    words: str
    is_minor: bool = False


class Whisker(Frozen):
    """A finish as a range."""

    low: datetime
    likely: datetime
    high: datetime


class Row(Frozen):
    """One line of the drawing."""

    key: str
    title: str
    note: str
    open: tuple[Span, ...] = ()
    """When the site works."""
    day: tuple[Span, ...] = ()
    """When it is day there."""
    lanes: tuple[tuple[Bar, ...], ...] = ()
    """Work side by side; in one lane nothing overlaps."""
    flights: tuple[Flight, ...] = ()
    whisker: Whisker | None = None


class Difference(Frozen):
    """One reel's finish, today and then."""

    reel: ReelName
    today: datetime | None
    then: datetime | None
    words: str


class Chart(Frozen):
    """The whole drawing, from an instant to another."""

    by: By
    far: Far
    start: datetime
    end: datetime
    ticks: tuple[Tick, ...]
    premiere: datetime | None
    """None where it lies beyond what is shown."""
    rows: tuple[Row, ...]
    more: int
    """How many rows further down are not shown."""


def chart_of(seen: Foreseen, by: By, far: Far, *, first: int = 0, most: int = 50, end: datetime | None = None) -> Chart:
    """Return `seen` drawn from its now on: to `end`, as far as `far` says, or to the last finish and what is near."""
    start = seen.now.replace(minute=0, second=0, microsecond=0)
    last = min(end or _end(seen, start, far), start + LONGEST)
    rows = _by_site(seen, start, last) if by == "site" else _by_reel(seen, start, last)
    return Chart(
        by=by,
        far=far,
        start=start,
        end=last,
        ticks=_ticks(start, last),
        premiere=seen.premiere if start <= seen.premiere <= last else None,
        rows=tuple(rows[first : first + most]),
        more=max(0, len(rows) - first - most),
    )


def differences(today: Foreseen, then: Foreseen) -> tuple[Difference, ...]:
    """Return each reel's finish in both plans, what is finished last then first."""
    before, after = ({each.reel: each.finish for each in plan.reels} for plan in (today, then))
    reels = dict.fromkeys((*after, *before))
    return tuple(_difference(reel, before.get(reel), after.get(reel)) for reel in reels)


def _difference(reel: ReelName, today: datetime | None, then: datetime | None) -> Difference:
    both = moved(minute_of(then) - minute_of(today)) if today and then else ""
    return Difference(reel=reel, today=today, then=then, words=both or ("new" if then else "gone"))


def _end(seen: Foreseen, start: datetime, far: Far) -> datetime:
    """Return where a drawing ends: a little after the worst finish, with the premiere where that is not far off."""
    worst = max((seen.high, *(bar.finish for bar in seen.bars)), default=seen.high)
    if far in FAR:
        return start + FAR[far]
    span = max(worst - start, timedelta(hours=6))
    near = seen.premiere if start < seen.premiere < start + span * 1.6 else worst
    return max(worst, near) + span / 25


def _ticks(start: datetime, end: datetime) -> tuple[Tick, ...]:
    """Return hours on a short axis, days on a longer one, weeks or months on a long one."""
    days = (end - start) / DAY
    if days <= 4:
        hours = range(0, int(days * 24) + 7, 6)
        first = start.replace(hour=start.hour // 6 * 6) + timedelta(hours=6)
        steps = [first + timedelta(hours=hour) for hour in hours]
        return tuple(
            Tick(at=at, words=f"{at:%a %-d}" if at.hour == 0 else f"{at:%H}", is_minor=at.hour != 0)
            for at in steps
            if at < end
        )
    step = next((each for each in (1, 2, 7, 14, 28, 56, 182) if days / each <= 14), 365)
    midnight = start.replace(hour=0) + DAY
    dates = [day for number in range(0, int(days) + 1, step) if (day := midnight + DAY * number) < end]
    form = "%a %-d %b" if step == 1 else "%-d %b" if step < 182 else "%b %Y"
    return tuple(Tick(at=at, words=f"{at:{form}}", is_minor=number % 2 == 1) for number, at in enumerate(dates))


def _by_site(seen: Foreseen, start: datetime, end: datetime) -> list[Row]:
    bars = _grouped(seen.bars, lambda bar: bar.site)
    return [_site(house, bars.get(house.site, []), seen, start, end) for house in seen.houses]


def _site(house: House, bars: list[Bar], seen: Foreseen, start: datetime, end: datetime) -> Row:
    landing = [each for each in seen.flights if each.site == house.site]
    return Row(
        key=house.site,
        title=house.site,
        note=house.zone,
        open=tuple(_cut(house.hours, start, end)),
        day=tuple(days_between(start, end, ZoneInfo(house.zone))),
        lanes=_lanes(bars, start, end),
        flights=tuple(each for each in landing if each.leaves < end and each.lands > start),
    )


def _by_reel(seen: Foreseen, start: datetime, end: datetime) -> list[Row]:
    bars, flights = _grouped(seen.bars, lambda bar: bar.reel), _grouped(seen.flights, lambda each: each.reel)
    return [
        Row(
            key=each.reel,
            title=each.reel,
            note="",
            lanes=_lanes(bars.get(each.reel, []), start, end),
            flights=tuple(way for way in flights.get(each.reel, []) if way.leaves < end and way.lands > start),
            whisker=Whisker(low=each.low, likely=each.finish, high=each.high) if each.low < end else None,
        )
        for each in seen.reels
    ]


def _grouped(each: Iterable[T], key: Callable[[T], str]) -> dict[str, list[T]]:
    found: dict[str, list[T]] = {}
    for one in each:
        found.setdefault(key(one), []).append(one)
    return found


def _lanes(bars: list[Bar], start: datetime, end: datetime) -> tuple[tuple[Bar, ...], ...]:
    """Return the bars that are seen, each in the first lane that is free when it begins."""
    lanes: list[list[Bar]] = []
    for bar in bars:
        if bar.finish <= start or bar.start >= end:
            continue
        shown = bar.model_copy(
            update={
                "start": max(bar.start, start),
                "finish": min(bar.finish, end),
                "spells": tuple(_cut(bar.spells, start, end)),
            }
        )
        free = next((lane for lane in lanes if lane[-1].finish <= shown.start), None)
        if free is None:
            lanes.append([shown])
        else:
            free.append(shown)
    return tuple(map(tuple, lanes))


def _cut(spans: Iterable[Span], start: datetime, end: datetime) -> Iterable[Span]:
    for span in spans:
        if span.start < end and span.end > start:
            yield Span(start=max(span.start, start), end=min(span.end, end))


def days_between(start: datetime, end: datetime, zone: ZoneInfo) -> Iterable[Span]:
    """Give when it is day in `zone`, by its wall clock; nothing where that is for too many days to be seen."""
    if end - start > DAY * DAYLIGHT_DAYS:
        return
    day, last = start.astimezone(zone).date() - DAY, end.astimezone(zone).date()
    while day <= last:
        yield from _cut([Span(start=_at(day, DAY_BEGINS, zone), end=_at(day, DAY_ENDS, zone))], start, end)
        day += DAY


def _at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, clock, zone).astimezone(UTC)
