"""At which speeds a scene is as long as its sound. Values only; reads nothing."""

from fractions import Fraction
from typing import NamedTuple


class Span(NamedTuple):
    """Speeds from `slowest` to `fastest`, both included, in frames a second."""

    slowest: Fraction
    fastest: Fraction


def fitting_speeds(frames: int, seconds: Fraction, tolerance: Fraction) -> Span:
    """Return the speeds at which `frames` last `seconds`, give or take `tolerance` seconds. Raises ValueError."""
    if frames < 1 or not 0 <= tolerance < seconds:
        raise ValueError(
            f"{frames} frames cannot be fitted to {seconds} s give or take {tolerance} s: "
            "expected 1 frame or more, and a tolerance from 0 to below the sound's length"
        )
    return Span(frames / (seconds + tolerance), frames / (seconds - tolerance))
