"""How long a reel is: in feet + frames, and in running time at its element's speed. Pure."""

from fractions import Fraction
from functools import lru_cache

from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.film.rates import format_rate, format_running_time, running_time
from relay.model import Element


def length_in_words(element: Element, frames: int) -> str:
    """Return a length in feet + frames, and how long it runs at the element's speed."""
    return _in_words(frames, element.gauge, element.rate())


@lru_cache(maxsize=4096)
def _in_words(frames: int, gauge: str, rate: Fraction) -> str:
    running = format_running_time(running_time(frames, rate))
    return f"{format_footage(frames, parse_gauge(gauge))}, {running} at {format_rate(rate)} fps"
