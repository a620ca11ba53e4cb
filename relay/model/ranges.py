"""Ranges of frames: made out of frames, counted, held against each other. Pure.

Ranges are in order and apart, as `ranges_of` and `merged` return them; spans are first and last, both included.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from relay.model.frames import FrameRange

Span = tuple[int, int]


def ranges_of(frames: set[int]) -> tuple[FrameRange, ...]:
    """Return `frames` as the fewest ranges, in order."""
    ranges: list[tuple[int, int]] = []
    for frame in sorted(frames):
        if ranges and ranges[-1][1] == frame - 1:
            ranges[-1] = (ranges[-1][0], frame)
        else:
            ranges.append((frame, frame))
    return tuple(FrameRange(first=first, last=last) for first, last in ranges)


def merged(spans: Iterable[tuple[int, int]], near: int = 0) -> tuple[FrameRange, ...]:
    """Return spans, each its first and last frame, as ranges in order, joined where at most `near` frames part them."""
    joined: list[tuple[int, int]] = []
    for first, last in sorted(spans):
        if joined and first <= joined[-1][1] + 1 + near:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return tuple(FrameRange(first=first, last=last) for first, last in joined)


def every_frame(ranges: Iterable[FrameRange]) -> Iterator[int]:
    """Yield the frames in ranges, one by one."""
    return (frame for each in ranges for frame in range(each.first, each.last + 1))


def frame_count(ranges: Iterable[FrameRange]) -> int:
    """Return how many frames ranges hold."""
    return sum(each.last - each.first + 1 for each in ranges)


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


def is_in(frame: int, ranges: Sequence[FrameRange]) -> bool:
    """Answer whether one of `ranges` holds `frame`."""
    return any(inside((frame, frame), ranges))


def without(ranges: Iterable[FrameRange], others: Sequence[FrameRange]) -> tuple[FrameRange, ...]:
    """Return what of `ranges` lies in none of `others`."""
    left = (part for each in ranges for part in outside((each.first, each.last), others))
    return tuple(FrameRange(first=first, last=last) for first, last in left)
