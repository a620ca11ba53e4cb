"""Gauges: how many frames a foot of each holds, exactly, and how many perforations a frame takes.

A foot here is the foot of a footage counter: a fixed number of frames, whatever the film measures today. So a shrunken
print and the negative it came from give the same footage for the same frame.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Gauge:
    """A width of film and a frame height, as far as counting goes."""

    name: str
    """As a production file writes it."""
    meaning: str
    frames_per_foot: Fraction
    perforations_per_frame: int
    """Counted along one edge."""
    perforations_per_count: int | None = None
    """Between two numbers of the edge code; None where there is none, or not one spacing for all."""


_ALL = (
    Gauge("35mm", "35 mm, 4 perforations a frame", Fraction(16), 4, 64),
    Gauge("35mm-3perf", "35 mm, 3 perforations a frame", Fraction(64, 3), 3, 64),
    Gauge("35mm-2perf", "35 mm, 2 perforations a frame", Fraction(32), 2, 64),
    Gauge("35mm-8perf", "35 mm lying, 8 perforations a frame", Fraction(8), 8, 64),
    # Three perforations a frame on one edge and one on the other: the three are counted.
    Gauge("28mm", "28 mm, 3 perforations a frame on the counted edge", Fraction(41, 2), 3),
    Gauge("16mm", "16 mm", Fraction(40), 1, 20),
    # A frame is 7.54 mm, which makes 40.4 to a measured foot, but counters for it turn 40, as for 16 mm.
    Gauge("9.5mm", "9.5 mm, the perforation between the frames", Fraction(40), 1),
    Gauge("8mm", "8 mm (standard, regular, double 8)", Fraction(80), 1),
    Gauge("super8", "Super 8 and Single 8", Fraction(72), 1),
    # The edge code of 65 mm counts every 80 or every 120 perforations: the name alone cannot say which.
    Gauge("65mm", "65 mm, 5 perforations a frame", Fraction(64, 5), 5),
    Gauge("70mm", "70 mm print, 5 perforations a frame", Fraction(64, 5), 5),
)

GAUGES: Mapping[str, Gauge] = MappingProxyType({gauge.name: gauge for gauge in _ALL})
"""Every gauge that is known, by its name."""

_OTHER_NAMES = {
    "35mm-4perf": "35mm",
    "65mm-5perf": "65mm",
    "70mm-5perf": "70mm",
    "standard8": "8mm",
    "regular8": "8mm",
    "double8": "8mm",
    "super8mm": "super8",
    "single8": "super8",
}


def _folded(text: str) -> str:
    return re.sub(r"[\s_-]", "", text.casefold())


_BY_FOLDED_NAME = {
    **{_folded(name): gauge for name, gauge in GAUGES.items()},
    **{_folded(name): GAUGES[known] for name, known in _OTHER_NAMES.items()},
}


def parse_gauge(text: str) -> Gauge:
    """Return the gauge that `text` names; case, spaces and hyphens do not matter. Raises ValueError."""
    try:
        return _BY_FOLDED_NAME[_folded(text)]
    except KeyError:
        raise ValueError(f"{text!r} is not a known gauge: write one of {', '.join(GAUGES)}") from None
