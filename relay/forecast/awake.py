"""Who is awake, until when, what they hold, and what is on its way to them. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from relay.forecast.ground import Ground
from relay.forecast.lines import has_whole
from relay.ledger import owed
from relay.ledger.job_state import Job, Standing
from relay.model import Site, VersionName
from relay.shifts.calendar import Calendar, NeverOpensError
from relay.shifts.windows import Window
from relay.shifts.zones import instant_of, minute_of

LOOK = 14 * 24 * 60
"""Minutes ahead in which the end of a shift is sought."""


@dataclass(frozen=True)
class Coming:
    """A version on its way to a site."""

    version: VersionName
    size: int
    """Bytes that are not there yet."""
    lands: datetime
    """If its line carries what it usually does, from now on."""


@dataclass(frozen=True)
class Presence:
    """One site, at one instant."""

    site: str
    zone: str
    local: datetime
    """What the clock on its wall shows."""
    has_joined: bool
    is_awake: bool
    turns: datetime | None
    """When it closes, if it is awake; else when it opens. None: not in sight."""
    day_off: str | None
    """Why no shift begins there today."""
    holds: tuple[Job, ...]
    offered: tuple[Job, ...]
    asked: tuple[Job, ...]
    """Open jobs for which it is asked first."""
    coming: tuple[Coming, ...]


def presences(ground: Ground) -> tuple[Presence, ...]:
    """Return every site of the production, in its file's order."""
    return tuple(_presence(ground, site) for site in ground.film.sites)


def _presence(ground: Ground, site: Site) -> Presence:
    calendar, now, jobs = ground.calendars[site.name], minute_of(ground.now), ground.state.jobs.values()
    window = next(iter(calendar.windows(now, now + LOOK)), None)
    is_awake = window is not None and window.start == now
    local = calendar.local(now)
    return Presence(
        site=site.name,
        zone=site.zone,
        local=local,
        has_joined=ground.state.has_joined(site.name),
        is_awake=is_awake,
        turns=_turns(calendar, window, now, is_awake=is_awake),
        day_off=None if is_awake else calendar.day_off(local.date()),
        holds=tuple(job for job in jobs if job.claim and job.claim.site == site.name),
        offered=tuple(job for job in jobs if job.offer and job.offer.to == site.name),
        asked=tuple(
            job for job in jobs if job.standing is Standing.OPEN and owed.first_asked(ground.state, job) == site.name
        ),
        coming=tuple(_coming(ground, site.name, version) for version in owed.to_receive(ground.state, site.name)),
    )


def _turns(calendar: Calendar, window: Window | None, now: int, *, is_awake: bool) -> datetime | None:
    if window is None:
        try:
            return instant_of(calendar.later(now, 1) - 1)
        except NeverOpensError:
            return None
    if not is_awake:
        return instant_of(window.start)
    return instant_of(window.end) if window.end < now + LOOK else None


def _coming(ground: Ground, site: str, version: VersionName) -> Coming:
    size = 0 if has_whole(ground.state, version, site) else ground.missing(version, site)
    return Coming(version, size, ground.now + timedelta(minutes=ground.bring(size, site)))
