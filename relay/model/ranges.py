"""Ranges of frames held against each other: what lies outside, what lies inside. Pure.

Ranges are in order and apart, as `relay.model.merged` returns them; spans are first and last, both included.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from relay.model import FrameRange

Span = tuple[int, int]


def outside(span: Span, ranges: Sequence[FrameRange]) -> Iterator[Span]:
    """Yield what of `span` lies in none of `ranges`."""
    first, last = span
    for each in ranges[bisect_left(ranges, first, key=lambda held: held.last) :]:
        if each.first > last:
            break
        if first < each.first:
            yield first, each.first - 1
        first = each.last + 1
    if first <= last:
        yield first, last


def inside(span: Span, ranges: Sequence[FrameRange]) -> Iterator[Span]:
    """Yield what of `span` lies in one of `ranges`."""
    first, last = span
    for each in ranges[bisect_left(ranges, first, key=lambda held: held.last) :]:
        if each.first > last:
            break
        yield max(first, each.first), min(last, each.last)


def without(ranges: Iterable[FrameRange], others: Sequence[FrameRange]) -> tuple[FrameRange, ...]:
    """Return what of `ranges` lies in none of `others`."""
    left = (part for each in ranges for part in outside((each.first, each.last), others))
    return tuple(FrameRange(first=first, last=last) for first, last in left)


def frames_of(ranges: Iterable[FrameRange]) -> int:
    """Return how many frames ranges hold."""
    return sum(each.last - each.first + 1 for each in ranges)
