"""Each site's calendar, from what the production's file says; what nobody said is taken for granted, and told."""

from datetime import time

from relay.model import Production, Shift, Site
from relay.shifts.calendar import Calendar, no_holiday
from relay.shifts.public_holidays import holidays_of

USUAL_SHIFTS = (Shift(begins=time(9), ends=time(17)),)
"""Weekdays, nine to five by the site's own clock: taken where the file gives a site no shift."""


def calendar_of(site: Site) -> Calendar:
    """Return when `site` works. Raises RefusedError where its holidays cannot be looked up on this machine."""
    return Calendar(
        site=site.name,
        zone=site.zone,
        shifts=site.shifts or USUAL_SHIFTS,
        closed=site.closed,
        overtime=site.overtime,
        holiday_on=holidays_of(site.holidays) if site.holidays else no_holiday,
    )


def calendars_of(film: Production) -> dict[str, Calendar]:
    """Return each site's calendar by its name. Raises RefusedError."""
    return {site.name: calendar_of(site) for site in film.sites}


def hands_at(site: Site, stage: str) -> int:
    """Return how many jobs of a stage the site works on at once."""
    return site.hands.get(stage, 1)


def people_at(site: Site) -> int:
    """Return how many jobs the site works on at once, all stages together."""
    return site.people or max(1, sum(hands_at(site, stage) for stage in site.stages))
