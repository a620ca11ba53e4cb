"""At which speeds a scene is as long as its sound. Values only; reads nothing."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Final, NamedTuple

from relay.film.rates import ARCHIVE_RATES

SLOWEST, FASTEST = Fraction(14), Fraction(24)
"""Speeds, in frames a second, that are looked at: what silent film is shown at, common practice."""

WHOLE_SPEEDS: Final = tuple(map(Fraction, range(14, 25)))
ARCHIVE_SPEEDS: Final = (SLOWEST, *ARCHIVE_RATES.values(), FASTEST)
"""The rates of SMPTE ST 428-21, and the two ends."""
NAMED_SPEEDS: Final = tuple(sorted({*WHOLE_SPEEDS, *ARCHIVE_SPEEDS}))


class Span(NamedTuple):
    """Speeds from `slowest` to `fastest`, both included, in frames a second."""

    slowest: Fraction
    fastest: Fraction


class Mixture(NamedTuple):
    """`before` frames at one speed and the rest at another, which together last as long as the sound."""

    before: int
    first: Fraction
    then: Fraction
    off: Fraction
    """Seconds that the picture lasts longer than the sound."""


def fitting_speeds(frames: int, seconds: Fraction, tolerance: Fraction) -> Span:
    """Return the speeds at which `frames` last `seconds`, give or take `tolerance` seconds. Raises ValueError."""
    if frames < 1 or not 0 <= tolerance < seconds:
        raise ValueError(
            f"{frames} frames cannot be fitted to {seconds} s give or take {tolerance} s: "
            "expected 1 frame or more, and a tolerance from 0 to below the sound's length"
        )
    return Span(frames / (seconds + tolerance), frames / (seconds - tolerance))


def within(span: Span) -> Span | None:
    """Return the part of `span` that lies between `SLOWEST` and `FASTEST`; None where nothing does."""
    slow, fast = max(span.slowest, SLOWEST), min(span.fastest, FASTEST)
    return Span(slow, fast) if slow <= fast else None


def named_in(span: Span) -> tuple[Fraction, ...]:
    """Return the whole and the archive speeds in `span`, slowest first."""
    return tuple(speed for speed in NAMED_SPEEDS if span.slowest <= speed <= span.fastest)


def simplest_in(span: Span) -> Fraction:
    """Return the fraction in `span` with the smallest denominator."""
    if span.slowest <= (whole := -(-span.slowest // 1)) <= span.fastest:
        return Fraction(whole)
    below = span.slowest // 1
    return below + 1 / simplest_in(Span(1 / (span.fastest - below), 1 / (span.slowest - below)))


def mixtures(lengths: Sequence[int], seconds: Fraction, tolerance: Fraction) -> tuple[Mixture, ...]:
    """Return how scenes of `lengths` frames on end fit `seconds` at two neighbouring speeds, the slower one first.

    The change falls between two scenes where that fits within `tolerance` seconds, else on the frame where it fits
    best. At most one answer with archive speeds and one with whole ones.
    """
    found = (_mixture(lengths, seconds, tolerance, speeds) for speeds in (ARCHIVE_SPEEDS, WHOLE_SPEEDS))
    return tuple(dict.fromkeys(each for each in found if each is not None))


def _mixture(
    lengths: Sequence[int], seconds: Fraction, tolerance: Fraction, speeds: Sequence[Fraction]
) -> Mixture | None:
    frames = sum(lengths)
    for slow, fast in pairwise(speeds):
        if slow < frames / seconds < fast:
            cuts = [_mixed(before, frames, (slow, fast), seconds) for before in accumulate(lengths[:-1])]
            best = round((seconds - frames / fast) / (1 / slow - 1 / fast))
            exact = _mixed(best, frames, (slow, fast), seconds)
            fitting = [each for each in cuts if abs(each.off) <= tolerance] or [exact]
            inside = [each for each in fitting if 0 < each.before < frames]
            return min(inside, key=lambda each: abs(each.off), default=None)
    return None


def _mixed(before: int, frames: int, speeds: tuple[Fraction, Fraction], seconds: Fraction) -> Mixture:
    slow, fast = speeds
    return Mixture(before, slow, fast, before / slow + (frames - before) / fast - seconds)
