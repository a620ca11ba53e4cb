"""Feet and frames: what a footage counter shows, to and from frame numbers; and lengths in feet and metres.

Frame 0 is the start mark, 0+00. Foot f begins with the first whole frame at or after f feet: frame ceil(f x frames
per foot). Where a foot does not hold a whole number of frames, feet therefore differ by one frame, in a fixed turn:
35 mm with 3 perforations counts 22, 21, 21; 28 mm 21, 20; 70 mm 13, 13, 13, 13, 12. Each frame has one footage and
each footage one frame, with no remainder anywhere.

Frames ahead of the start mark (leader) are negative and read as the distance to the mark: -12+00 lies 12 feet ahead
of it, and -0+01 is the frame just ahead of it.

Count frames, never feet: shrunken film holds more frames in a measured foot. Measured lengths take the shrinkage.
"""

import re
from fractions import Fraction
from math import ceil

from relay.film.gauges import Gauge

METRES_PER_FOOT = Fraction(3048, 10000)
SHRINKAGE_LIMIT = Fraction(1, 10)
"""Film that lost a tenth of its length no longer runs through anything: a larger figure is a slip of the pen."""

_FOOTAGE = re.compile(r"(?P<ahead>-?)(?P<feet>[0-9]{1,7})\+(?P<frames>[0-9]{1,3})")


def first_frame_of(foot: int, gauge: Gauge) -> int:
    """Return the number of the first frame that begins in `foot`."""
    return ceil(foot * gauge.frames_per_foot)


def format_footage(frame: int, gauge: Gauge) -> str:
    """Return the footage of `frame`, like 125+07."""
    feet = abs(frame) // gauge.frames_per_foot
    frames = abs(frame) - first_frame_of(feet, gauge)
    return f"{'-' if frame < 0 else ''}{feet}+{frames:02d}"


def parse_footage(text: str, gauge: Gauge) -> int:
    """Return the frame number of a footage like 125+07. Raises ValueError."""
    found = _FOOTAGE.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text!r} is not a footage: expected feet+frames, such as 125+07")
    feet, frames = int(found["feet"]), int(found["frames"])
    first, after = first_frame_of(feet, gauge), first_frame_of(feet + 1, gauge)
    if first + frames >= after:
        raise ValueError(
            f"{text!r} is no place on {gauge.name}: foot {feet} holds frames 00 to {after - first - 1:02d}"
        )
    return -(first + frames) if found["ahead"] else first + frames


def feet_of(frames: int, gauge: Gauge) -> Fraction:
    """Return the length of `frames` in feet."""
    return frames / gauge.frames_per_foot


def metres_of(frames: int, gauge: Gauge) -> Fraction:
    """Return the length of `frames` in metres, at 0.3048 to the foot.

    Fresh 35 mm stock of 4.75 mm pitch measures 304 mm to 64 perforations, a quarter per cent less.
    """
    return feet_of(frames, gauge) * METRES_PER_FOOT


def frames_in_feet(feet: Fraction | int, gauge: Gauge, shrinkage: Fraction | int = 0) -> Fraction:
    """Return how many frames lie in `feet` measured on film that lost `shrinkage` of its length (1/100 for 1 %)."""
    if not 0 <= shrinkage < SHRINKAGE_LIMIT:
        raise ValueError(
            f"shrinkage {shrinkage} is out of range: expected 0 to {SHRINKAGE_LIMIT}, such as 1/100 for 1 %"
        )
    return feet * gauge.frames_per_foot / (1 - shrinkage)


def frames_in_metres(metres: Fraction | int, gauge: Gauge, shrinkage: Fraction | int = 0) -> Fraction:
    """Return how many frames lie in `metres` measured on film that lost `shrinkage` of its length (1/100 for 1 %)."""
    return frames_in_feet(metres / METRES_PER_FOOT, gauge, shrinkage)
