"""Working time as windows: pairs of minutes, in order and apart from each other, the second one excluded.

Minutes are counted from 1970-01-01 UTC. Plain sums over whole numbers; no zone is known here.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Window(NamedTuple):
    """The minutes from `start` up to, not with, `end`."""

    start: int
    end: int


def joined(spans: Iterable[tuple[int, int]]) -> list[Window]:
    """Return what the spans cover together, as windows; empty spans count for nothing."""
    windows: list[Window] = []
    for start, end in sorted(spans):
        if end <= start:
            continue
        if windows and start <= windows[-1].end:
            windows[-1] = Window(windows[-1].start, max(end, windows[-1].end))
        else:
            windows.append(Window(start, end))
    return windows


def without(windows: Sequence[Window], taken: Iterable[tuple[int, int]]) -> list[Window]:
    """Return `windows` with the spans in `taken` cut out."""
    left = list(windows)
    for start, end in joined(taken):
        pieces = [((a, min(b, start)), (max(a, end), b)) for a, b in left]
        left = joined(piece for both in pieces for piece in both)
    return left


def within(windows: Sequence[Window], start: int, end: int) -> list[Window]:
    """Return what of `windows` lies between two minutes."""
    return joined((max(a, start), min(b, end)) for a, b in windows)


def worked(windows: Sequence[Window], start: int, end: int) -> int:
    """Return how many working minutes lie between two minutes; negative where `end` is before `start`."""
    if end < start:
        return -worked(windows, end, start)
    return sum(b - a for a, b in within(windows, start, end))


def later(windows: Sequence[Window], start: int, minutes: int) -> int | None:
    """Return the first minute by which `minutes` of work are done, begun at `start`; None: not in these windows."""
    if minutes == 0:
        return start
    for a, b in windows[_first_open(windows, start) :]:
        begun = max(a, start)
        if minutes <= b - begun:
            return begun + minutes
        minutes -= b - begun
    return None


def earlier(windows: Sequence[Window], end: int, minutes: int) -> int | None:
    """Return the last minute at which work must begin, so that `minutes` of it are done by `end`; None: too early."""
    if minutes == 0:
        return end
    for a, b in reversed(windows):
        over = min(b, end)
        if over <= a:
            continue
        if minutes <= over - a:
            return over - minutes
        minutes -= over - a
    return None


def _first_open(windows: Sequence[Window], minute: int) -> int:
    """Return the place of the first window that ends after `minute`."""
    return bisect_right(windows, minute, key=lambda window: window.end)
