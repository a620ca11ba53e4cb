"""Sites as rows: what time it is there, who is awake, what each holds and owes, and when it last spoke. Pure."""

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from relay.board.rows.view import Span, View
from relay.ledger import owed
from relay.ledger.job_state import Standing
from relay.model import Frozen, VersionName

DAY_BEGINS, DAY_ENDS = time(7), time(19)
"""By the site's own clock; common practice. What the site's shifts say goes before it."""

BEFORE, AFTER = timedelta(hours=6), timedelta(hours=18)
"""The 24 hours that are shown: mostly what is to come."""


class Word(Frozen):
    """When a site last signed something."""

    entry: int
    time: datetime


class SiteRow(Frozen):
    """One site."""

    site: str
    title: str
    town: str
    zone: str
    local: str
    """The time there: `Sat 18 Sep 23:03`."""
    offset: str
    """From UTC: `+09:00`."""
    is_day: bool
    """Between seven in the morning and seven in the evening there."""
    is_awake: bool | None
    """Whether a shift of the site is on; None where the production does not say its shifts."""
    day: tuple[Span, ...]
    """When it is day there, within the 24 hours that are shown."""
    shifts: tuple[Span, ...]
    stages: tuple[str, ...]
    is_coordinator: bool
    mends: bool
    has_joined: bool
    holds: tuple[str, ...]
    asked: tuple[str, ...]
    """Jobs that wait for it first."""
    owes: tuple[VersionName, ...]
    """Versions that it must still receive and sign for."""
    last_word: Word | None


class Day(Frozen):
    """The 24 hours that are shown."""

    start: datetime
    end: datetime
    now: datetime


def day_of(now: datetime) -> Day:
    """Return the 24 hours around `now`, from a full hour to a full hour."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    return Day(start=hour - BEFORE, end=hour + AFTER, now=now)


def site_rows(view: View, spoke: Mapping[str, Word], shifts: Mapping[str, tuple[Span, ...]]) -> tuple[SiteRow, ...]:
    """Return every site, in the production's order. `spoke`: when each last signed an entry; `shifts`: its hours."""
    holds: dict[str, list[str]] = {}
    asked: dict[str, list[str]] = {}
    for job in view.state.jobs.values():
        if job.claim:
            holds.setdefault(job.claim.site, []).append(job.job)
        elif job.standing is Standing.OPEN and (first := owed.first_asked(view.state, job)):
            asked.setdefault(first, []).append(job.job)
    return tuple(
        _row(view, name, tuple(holds.get(name, ())), tuple(asked.get(name, ())), spoke.get(name), shifts.get(name))
        for name in (site.name for site in view.film.sites)
    )


def _row(
    view: View,
    name: str,
    holds: tuple[str, ...],
    asked: tuple[str, ...],
    last_word: Word | None,
    shifts: tuple[Span, ...] | None,
) -> SiteRow:
    site = next(each for each in view.film.sites if each.name == name)
    local = view.now.astimezone(ZoneInfo(site.zone))
    return SiteRow(
        site=name,
        title=site.title,
        town=view.title_of(name),
        zone=site.zone,
        local=f"{local:%a %-d %b %H:%M}",
        offset=local.isoformat()[-6:],
        is_day=DAY_BEGINS <= local.time() < DAY_ENDS,
        is_awake=None if shifts is None else any(span.start <= view.now < span.end for span in shifts),
        day=days_in(day_of(view.now), ZoneInfo(site.zone)),
        shifts=shifts or (),
        stages=site.stages,
        is_coordinator=name == view.film.coordinator,
        mends=site.mends,
        has_joined=view.state.has_joined(name),
        holds=holds,
        asked=asked,
        owes=tuple(owed.to_receive(view.state, name)),
        last_word=last_word,
    )


def days_in(shown: Day, zone: ZoneInfo) -> tuple[Span, ...]:
    """Return when it is day in `zone`, cut to what is shown. Wall-clock hours: a change of the clocks moves them."""
    first = shown.start.astimezone(zone).date() - timedelta(days=1)
    found: list[Span] = []
    for number in range(4):
        date = first + timedelta(days=number)
        start = datetime.combine(date, DAY_BEGINS, zone).astimezone(shown.start.tzinfo)
        end = datetime.combine(date, DAY_ENDS, zone).astimezone(shown.start.tzinfo)
        start, end = max(start, shown.start), min(end, shown.end)
        if start < end:
            found.append(Span(start=start, end=end))
    return tuple(found)
