"""Edge code: the numbers that the maker printed along the film, as perforations and frames of the roll.

Between two scans of one roll the edge code is the only number that neither a splice nor a scanner can shift.
"""

from dataclasses import dataclass
from fractions import Fraction

from relay.film.gauges import GAUGES, Gauge

COUNT_LIMIT = 9999
OFFSET_LIMIT = 119  # perforations


@dataclass(frozen=True, slots=True)
class EdgeCode:
    """A place on a roll: a printed number, and how many perforations past that number's zero-frame mark."""

    count: int
    offset: int

    def __post_init__(self) -> None:
        if not 0 <= self.count <= COUNT_LIMIT:
            raise ValueError(f"edge code count {self.count} is out of range: expected 0 to {COUNT_LIMIT}")
        if not 0 <= self.offset <= OFFSET_LIMIT:
            raise ValueError(
                f"edge code offset {self.offset} is out of range: expected 0 to {OFFSET_LIMIT} perforations"
            )


def perforation_of(code: EdgeCode, gauge: Gauge) -> int:
    """Return how many perforations lie between the mark of count 0 and `code`."""
    return code.count * _perforations_per_count(gauge) + code.offset


def frame_of(code: EdgeCode, gauge: Gauge) -> Fraction:
    """Return how many frames lie between the mark of count 0 and `code`.

    The codes of two frames of one take differ by a whole number; each alone need not be whole, since frames may
    begin anywhere against the marks, and with 3 perforations a frame they meet a mark only every third count.
    """
    return Fraction(perforation_of(code, gauge), gauge.perforations_per_frame)


def edge_code_at(perforation: int, gauge: Gauge) -> EdgeCode:
    """Return the code of the place `perforation` perforations past the mark of count 0."""
    count, offset = divmod(perforation, _perforations_per_count(gauge))
    return EdgeCode(count, offset)


def _perforations_per_count(gauge: Gauge) -> int:
    if gauge.perforations_per_count is None:
        coded = ", ".join(name for name, known in GAUGES.items() if known.perforations_per_count)
        raise ValueError(f"{gauge.name} has no edge code of a known spacing: expected one of {coded}")
    return gauge.perforations_per_count
