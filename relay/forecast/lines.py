"""How long bytes take to a site: by what its receipts say its line carried, else by what the production's file says."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from statistics import median

from relay.ledger.state import State
from relay.model import Site, VersionName

Missing = Callable[[VersionName, str], int]
"""Bytes of a version that a site does not have yet."""

USUAL_LINE = 100
"""Megabits a second: taken where nobody said, and no receipt tells."""

TELLING = 1_000_000
"""Bytes. What is smaller says more about the distance than about the line."""

REMEMBERED = 20
"""Receipts: a line is as fast as it was lately."""


@dataclass(frozen=True)
class Line:
    """What a site's line carries, each way."""

    speed: Fraction
    """Bytes a minute."""
    why: str


def measured(state: State, site: str) -> Fraction | None:
    """Return the median of what the site's latest receipts say, in bytes a minute, or None where none tells."""
    receipts = sorted(
        (receipt for version in state.versions.values() for receipt in version.receipts if receipt.site == site),
        key=lambda receipt: receipt.entry,
    )
    speeds = [
        Fraction(receipt.carried * 60_000, receipt.took)
        for receipt in receipts
        if receipt.carried and receipt.took and receipt.carried >= TELLING
    ]
    return median(speeds[-REMEMBERED:]) if speeds else None


def line_of(state: State, site: Site) -> Line:
    """Return what the line of `site` carries, and how that is known."""
    found = measured(state, site.name)
    if found is not None:
        return Line(found, "measured: by its receipts")
    if site.line is not None:
        return Line(_a_minute(site.line), "as the production's file says")
    return Line(_a_minute(USUAL_LINE), "taken for granted")


def _a_minute(megabits: int) -> Fraction:
    return Fraction(megabits * 1_000_000 * 60, 8)


def megabits(line: Line) -> float:
    """Return the line's speed in megabits a second."""
    return float(line.speed * 8 / 60 / 1_000_000)


def minutes_for(size: int, *lines: Line) -> int:
    """Return the whole minutes that `size` bytes take over the lines, one after the other, rounded up."""
    return ceil(sum((Fraction(size) / line.speed for line in lines), Fraction(0)))


def missing_by_receipts(state: State) -> Missing:
    """Return what says how much of a version a site lacks by the ledger alone: all of it, or nothing.

    Whoever can read manifests knows better: frames that did not change are there already.
    """

    def missing(name: VersionName, site: str) -> int:
        version = state.versions[name]
        return 0 if has_whole(state, name, site) else version.size

    return missing


def has_whole(state: State, name: VersionName, site: str) -> bool:
    """Answer whether `site` made the version, or its newest receipt says that it arrived whole."""
    version = state.versions[name]
    newest = next((receipt for receipt in reversed(version.receipts) if receipt.site == site), None)
    return newest.whole if newest else version.by == site
