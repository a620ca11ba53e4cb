"""When each site works within the hours that are shown, as far as the production's file says; and when lands what is
on its way, if lines carry what they usually do.
"""

import logging
from collections.abc import Callable
from datetime import date, datetime, timedelta

from relay.board.rows.sites import Day
from relay.board.rows.view import Span
from relay.errors import RefusedError
from relay.forecast.ground import Ground
from relay.ledger import owed
from relay.ledger.state import State
from relay.model import Production, Site, VersionName
from relay.shifts.calendar import Calendar, no_holiday
from relay.shifts.public_holidays import holidays_of
from relay.shifts.zones import instant_of, minute_of

LOG = logging.getLogger("relay.board")


def shifts_in(film: Production, shown: Day) -> dict[str, tuple[Span, ...]]:
    """Return the working hours of every site that says any; a site that says none is not there."""
    start, end = minute_of(shown.start), minute_of(shown.end)
    return {
        site.name: tuple(
            Span(start=instant_of(first), end=instant_of(last)) for first, last in _calendar(site).windows(start, end)
        )
        for site in film.sites
        if site.shifts
    }


def _calendar(site: Site) -> Calendar:
    return Calendar(site.name, site.zone, site.shifts, site.closed, site.overtime, _holidays(site))


def _holidays(site: Site) -> Callable[[date], str | None]:
    if site.holidays is None:
        return no_holiday
    try:
        return holidays_of(site.holidays)
    except RefusedError as error:
        LOG.warning("%s is shown without its holidays: %s", site.name, error)
        return no_holiday


def landings(state: State, now: datetime) -> dict[tuple[VersionName, str], datetime]:
    """Return when each version that a site must still receive lands there, to the minute."""
    ground = Ground.of(state, now)
    return {
        (version, site.name): ground.epoch
        + timedelta(minutes=ground.bring(ground.missing(version, site.name), site.name))
        for site in state.film().sites
        for version in owed.to_receive(state, site.name)
    }
