"""Lines that several things take at once: a plan gives each the line to itself; how wrong that may be. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from relay.forecast.ground import place_of
from relay.forecast.outlook import Forecast
from relay.shifts.plan import Arrival


@dataclass(frozen=True)
class SharedLine:
    """A site to which several things travel at once."""

    site: str
    things: int
    """How many do, at the worst time."""
    since: datetime
    """When that begins for the first time."""
    later: int
    """Minutes by which something lands later than planned, if all of it travels one after the other."""


def shared_lines(found: Forecast) -> tuple[SharedLine, ...]:
    """Return the sites whose line is shared, the one with the longest delay first."""
    coming: dict[str, list[Arrival]] = {}
    for each in found.plan.arrivals:
        if place_of(each.site) != place_of(each.source) and each.lands > each.leaves:
            coming.setdefault(place_of(each.site), []).append(each)
    lines = [_shared(found, site, ways) for site, ways in coming.items()]
    return tuple(sorted((line for line in lines if line), key=lambda line: (-line.later, line.site)))


def _shared(found: Forecast, site: str, ways: Sequence[Arrival]) -> SharedLine | None:
    # What several jobs take from one outcome travels once.
    spans = sorted({(each.leaves, each.lands, each.task) for each in ways})
    free, later, since = 0, 0, None
    for leaves, lands, _ in spans:
        begins = max(leaves, free)
        if begins > leaves and since is None:
            since = leaves
        free = begins + lands - leaves
        later = max(later, free - lands)
    if since is None:
        return None
    most = max(sum(leaves <= at < lands for leaves, lands, _ in spans) for at, _, _ in spans)
    return SharedLine(site, most, found.ground.instant(since), later)
