"""A forecast in sentences: lengths of time, places, finishes. Pure."""

import re
from datetime import datetime

from relay.forecast.ground import DESK, WORKER, place_of
from relay.forecast.outlook import Forecast, ShutDoor
from relay.forecast.prints import PrintOutlook
from relay.forecast.sharing import SharedLine
from relay.shifts.spoken import how_long
from relay.shifts.zones import minute_of

_PLACE = re.compile(rf"\b([a-z0-9][a-z0-9-]*)/({WORKER}|{DESK})\b")


def told(sentence: str) -> str:
    """Return a sentence of the planner with places as people call them."""
    return _PLACE.sub(lambda found: place_in_words(found[0]), sentence)


def place_in_words(place: str) -> str:
    """Return a place in a plan as people call it: `tokyo`, `tokyo's worker`."""
    return f"{place_of(place)}'s worker" if place.endswith(f"/{WORKER}") else place_of(place)


def by_whom(forecast: Forecast) -> str:
    """Return who found the plan, in a sentence without its end."""
    if forecast.plan.method == "solver":
        return "The plan is the solver's"
    return "The plan is the search's own, the best of the time that it was given"


def moved(minutes: int) -> str:
    """Return by how much something comes later or sooner: `2 h 32 min sooner`, `the same`."""
    return f"{how_long(minutes)} {'later' if minutes > 0 else 'sooner'}" if minutes else "the same"


def when(instant: datetime) -> str:
    """Return an instant as a table has it, in UTC."""
    return f"{instant:%a %Y-%m-%d %H:%M}"


def headline(forecast: Forecast) -> str:
    """Return when all is finished, as a range, and what that means for the premiere."""
    if forecast.is_done:
        return "nothing is left to do"
    late = forecast.minutes_late(forecast.finish)
    finished = f"finished {when(forecast.finish)} UTC ({when(forecast.low)} UTC to {when(forecast.high)} UTC)"
    if late > 0:
        return (
            f"if nothing changes, late by {how_long(late)}: {finished}; the premiere is {when(forecast.premiere)} UTC"
        )
    worst = forecast.minutes_late(forecast.high)
    at_worst = f", and at worst {how_long(worst)} late" if worst > 0 else ""
    return f"{finished}, {how_long(late)} before the premiere{at_worst}"


def of_a_print(each: PrintOutlook) -> str:
    """Return when a print goes back, and how much time is left for it."""
    where = f"print {each.element}" + (f" at {each.lent_to}" if each.lent_to else "")
    last_day = f"{each.last_day:%a %Y-%m-%d}"
    if each.last_needed is None or each.spare is None:
        return f"{where} is not needed any more: it can go back to {each.holder}, at the latest on {last_day}"
    used = f"{where} is needed until {when(each.last_needed)} UTC and leaves for {each.holder} by {last_day}"
    spare = (
        f"{how_long(each.spare)} to spare" if each.spare >= 0 else f"{how_long(each.spare)} too late: ask for longer"
    )
    return f"{used}, {spare}"


def of_a_line(each: SharedLine) -> str:
    """Return which line is shared, and by how much later than planned something may land."""
    return (
        f"{each.things} things are on their way to {each.site} at once, the first time {when(each.since)} UTC; each "
        f"is planned with the line to itself, so one may land up to {how_long(each.later)} later"
    )


def at_the_door(forecast: Forecast, door: ShutDoor) -> str:
    """Return what lands just after closing time, by how much, and until when it waits."""
    calendar = forecast.ground.calendars[door.site]
    after = minute_of(door.lands) - minute_of(door.closed)
    waits = ""
    if door.opens:
        waits = f"; they go on {calendar.local(minute_of(door.opens)):%a %H:%M}"
    lands = f"{calendar.local(minute_of(door.lands)):%a %d %b %H:%M}"
    what = forecast.title(door.arrival.task)
    return f"{what} lands at {door.site} {lands}, {how_long(after)} after they close{waits}"


def at_the_doors(forecast: Forecast) -> tuple[str, ...]:
    """Return what lands just after closing time, each once: several tasks may wait for one arrival."""
    return tuple(dict.fromkeys(at_the_door(forecast, door) for door in forecast.shut_doors))
