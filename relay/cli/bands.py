"""Pictures in lines of text: the next 24 hours of each site under one ruler in UTC, and a plan as bars."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import pairwise

from relay.shifts.calendar import Calendar
from relay.shifts.windows import worked
from relay.shifts.zones import instant_of

COLUMNS = 48
STEP = 30
"""Minutes that one letter of a band stands for."""

WHOLE, PART, NONE = "█", "▒", "·"
"""A letter for a step that is worked through, in part, not at all: told apart without colours."""

EVERY = 3 * 60
"""Minutes between two hours on a ruler."""


def first_minute(minute: int) -> int:
    """Return where a band that begins at `minute` begins: at its half hour."""
    return minute - minute % STEP


def ruler(start: int) -> str:
    """Return the hours in UTC over a band, every third."""
    return _hours([instant_of(start + STEP * column) for column in range(COLUMNS)])


def local_ruler(calendar: Calendar, start: int) -> str:
    """Return the hours that the clock on a site's wall shows under its band, every third."""
    return _hours([calendar.local(start + STEP * column) for column in range(COLUMNS)])


def _hours(shown: Sequence[datetime]) -> str:
    line = [" "] * (COLUMNS + 2)
    for column, moment in enumerate(shown):
        if (moment.hour * 60 + moment.minute) % EVERY < STEP:
            line[column : column + 2] = f"{moment:%H}"
    return "".join(line).rstrip()


def band(calendar: Calendar, start: int) -> str:
    """Return the working time of 24 hours from `start`, a letter for each half hour."""
    windows = calendar.windows(start, start + STEP * COLUMNS)
    edges = [start + STEP * column for column in range(COLUMNS + 1)]
    return "".join(_letter(worked(windows, a, b), b - a) for a, b in pairwise(edges))


def _letter(minutes: int, of: int) -> str:
    return WHOLE if minutes == of else PART if minutes else NONE


def bar(spells: Iterable[tuple[int, int]], start: int, end: int, columns: int) -> str:
    """Return spells of work between two minutes as a bar: worked, and lying still in between."""
    windows = sorted(spells)
    edges = [start + (end - start) * column // columns for column in range(columns + 1)]
    line = []
    for a, b in pairwise(edges):
        is_worked = any(first < b and last > a for first, last in windows)
        is_between = windows[0][0] < b and windows[-1][1] > a if windows else False
        line.append("━" if is_worked else "┄" if is_between else " ")
    return "".join(line).rstrip()
