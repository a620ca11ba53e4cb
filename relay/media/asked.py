"""What is known of a reel beside its files: what the can says, its film, its speed, what the production asked for."""

from dataclasses import dataclass
from fractions import Fraction

from relay.film.footage import frames_in_feet
from relay.film.gauges import Gauge, parse_gauge
from relay.model import Picture, Production, ReelName


@dataclass(frozen=True)
class Asked:
    """What an inspection compares with; None where nobody said."""

    frames: int | None = None
    """By the can or a count."""
    feet: Fraction | None = None
    """Measured on the bench, on film as short as it is today."""
    shrinkage: Fraction = Fraction(0)
    gauge: Gauge | None = None
    rate: Fraction | None = None
    """The element's speed, in frames a second."""
    picture: Picture | None = None
    known_gaps: frozenset[int] = frozenset()
    """Numbers between the files' that what it was made from lacks as well."""

    def measured_frames(self) -> Fraction | None:
        """Return how many frames the measured length holds."""
        if self.feet is None or self.gauge is None:
            return None
        return frames_in_feet(self.feet, self.gauge, self.shrinkage)


NOTHING_ASKED = Asked()


def asked_for(film: Production, reel: ReelName, stage: str | None = None) -> Asked:
    """Return what is known of `reel`, and what `stage` asks its frames to be."""
    element = film.element_of(reel)
    if element is None:
        return NOTHING_ASKED
    held = next((each for each in element.reels if each.name == reel.partition("/")[2]), None)
    step = next((each for each in film.route if each.name == stage), None)
    return Asked(
        frames=held.frames if held else None,
        feet=Fraction(held.feet) if held and held.feet else None,
        shrinkage=Fraction(held.shrinkage) / 100 if held else Fraction(0),
        gauge=_gauge(element.gauge),
        rate=element.rate(),
        picture=step.picture if step else None,
    )


def _gauge(text: str) -> Gauge | None:
    try:
        return parse_gauge(text)
    except ValueError:
        return None  # a production may write what it likes there; then nothing is measured by it
