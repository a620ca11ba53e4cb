"""A site's calendar as iCalendar (RFC 5545): its shifts, what is expected there, what it takes over and passes on."""

import hashlib
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from relay.errors import RefusedError
from relay.forecast.ground import place_of
from relay.forecast.outlook import Forecast
from relay.forecast.words import place_in_words
from relay.shifts.plan import Piece
from relay.shifts.zones import minute_of

if TYPE_CHECKING:
    from icalendar import Calendar, Event

SHIFTS_AHEAD = 28 * 24 * 60
"""Minutes for which shifts are written."""

_MOMENT = timedelta(minutes=15)
"""How long an arrival is shown."""


def feed_of(forecast: Forecast, site: str) -> "Calendar":
    """Return the calendar of `site`. Raises RefusedError where the library for it is not installed."""
    try:
        from icalendar import Calendar
    except ImportError as error:
        raise RefusedError(
            "calendars are written with the `icalendar` library, which this machine does not have: "
            "`pip install 'relay-handoff[planning]'`"
        ) from error
    film = forecast.ground.film
    calendar = Calendar()
    calendar.add("prodid", "-//Relay//relay forecast//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", f"{film.title}: {site}")
    calendar.add("x-wr-calname", f"{film.title}: {site}")
    calendar.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    calendar.add("x-relay-tz-release", forecast.tz)
    for event in (*_shifts(forecast, site), *_work(forecast, site), *_arrivals(forecast, site)):
        calendar.add_component(event)
    return calendar


def write_feeds(forecast: Forecast, folder: Path) -> list[Path]:
    """Write `SITE.ics` for each site into `folder`, each put in place whole. Raises RefusedError."""
    written = []
    for site in forecast.ground.film.sites:
        body, path = feed_of(forecast, site.name).to_ical(), folder / f"{site.name}.ics"
        part = path.with_suffix(".part")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            part.write_bytes(body)
            part.replace(path)
        except OSError as error:
            raise RefusedError(f"{path} cannot be written: {error.strerror}. Name another folder") from error
        written.append(path)
    return written


def _event(
    forecast: Forecast, kind: str, key: str, begins: datetime, ends: datetime, summary: str, note: str = ""
) -> "Event":
    from icalendar import Event

    film = forecast.ground.film.name
    digest = hashlib.sha256(f"{film} {kind} {key}".encode()).hexdigest()[:32]  # the same event, the same name
    event = Event()
    event.add("uid", f"{digest}@{film}.relay.invalid")
    event.add("dtstamp", forecast.ground.now)
    event.add("dtstart", begins)
    event.add("dtend", ends)
    event.add("summary", summary)
    event.add("categories", [kind])
    if note:
        event.add("description", note)
    return event


def _shifts(forecast: Forecast, site: str) -> Iterator["Event"]:
    ground = forecast.ground
    zero = minute_of(ground.epoch)
    for start, end in ground.calendars[site].windows(zero, zero + SHIFTS_AHEAD):
        begins, ends = ground.instant(start - zero), ground.instant(end - zero)
        event = _event(forecast, "shift", f"{site} {begins:%Y%m%d%H%M}", begins, ends, f"{site} works")
        event.add("transp", "TRANSPARENT")  # being awake keeps nobody from meeting others
        yield event


def _work(forecast: Forecast, site: str) -> Iterator["Event"]:
    before: dict[str, Piece] = {}
    for piece in forecast.plan.pieces:
        came = before.get(piece.task)
        before[piece.task] = piece
        if came is not None and came.handed_on and site in {place_of(came.site), place_of(piece.site)}:
            yield _hand_over(forecast, came, piece)
        if place_of(piece.site) == site:
            yield _piece(forecast, site, piece)


def _piece(forecast: Forecast, site: str, piece: Piece) -> "Event":
    at, outlook = forecast.ground.instant, forecast.plan.outlooks[piece.task]
    note = (
        f"Finished {at(outlook.finish_low):%Y-%m-%d %H:%M} UTC at best, "
        f"{at(outlook.finish_high):%Y-%m-%d %H:%M} UTC at worst."
    )
    key, ends = f"{piece.task} {site}", at(max(piece.finish, piece.start + 1))
    event = _event(forecast, "work", key, at(piece.start), ends, f"{forecast.title(piece.task)}", note)
    event.add("transp", "TRANSPARENT")
    return event


def _hand_over(forecast: Forecast, came: Piece, piece: Piece) -> "Event":
    at = forecast.ground.instant
    summary = f"{forecast.title(piece.task)}: {place_of(came.site)} hands on to {place_of(piece.site)}"
    key = f"{piece.task} {came.site} {piece.site}"
    return _event(forecast, "hand-over", key, at(came.finish), at(came.finish) + _MOMENT, summary)


def _arrivals(forecast: Forecast, site: str) -> Iterator["Event"]:
    for arrival in forecast.plan.arrivals:
        if place_of(arrival.site) != site or arrival.lands == arrival.leaves:
            continue  # what goes from one hand to another in the same house is not expected by anybody
        lands = forecast.ground.instant(arrival.lands)
        half = ", half-done" if arrival.half_done else ""
        summary = f"{forecast.title(arrival.task)}{half} lands, from {place_in_words(arrival.source)}"
        key = f"{arrival.task} {arrival.wanted_by} {site}"
        note = f"For {forecast.title(arrival.wanted_by)}."
        yield _event(forecast, "arrival", key, lands, lands + _MOMENT, summary, note)
