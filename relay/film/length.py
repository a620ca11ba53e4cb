"""How long a reel is: in feet + frames, and in running time at its element's speed. Pure."""

from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.film.rates import format_rate, format_running_time, running_time
from relay.model import Element


def length_in_words(element: Element, frames: int) -> str:
    """Return a length in feet + frames, and how long it runs at the element's speed."""
    running = format_running_time(running_time(frames, element.rate()))
    return f"{format_footage(frames, parse_gauge(element.gauge))}, {running} at {format_rate(element.rate())} fps"
