"""Where three prints contradict each other: one of three sure statements is wrong there, so none stays sure. Pure.

A shows B's frame, B's frame shows C's, and A is said to show another frame of C, or none: each of the three was surely
said, and no picture is left to ask. People see the place as not sure, and can pin it.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from itertools import permutations
from typing import NamedTuple

from relay.model import FrameRange, VersionName, every_frame, merged
from relay.programme.framemap import FrameMap, Match, Way, runs_of

Pair = tuple[VersionName, VersionName]
"""From the first to the second."""
AT_MOST = 66
"""Percent: of three statements of which one is wrong at least, each is right two times in three at most."""


class _Line(NamedTuple):
    """Frames of which a way is sure and whose neighbours look different."""

    first: int
    last: int
    by: int | None
    """How much higher the other's numbers are; None: it lacks them."""


class Disputed(NamedTuple):
    """Frames of a print at which a third contradicts what is said of it and another."""

    third: VersionName
    frames: tuple[FrameRange, ...]


class Sure:
    """What a way surely says, however likely it is, as the fewest stretches."""

    def __init__(self, way: Way) -> None:
        self._lines: list[_Line] = []
        for run in way.runs:
            if run.sure and not run.alike:
                self._add(_Line(run.first, run.last, None if run.other is None else run.other - run.first))
        self._lasts = [line.last for line in self._lines]

    def _add(self, line: _Line) -> None:
        before = self._lines[-1] if self._lines else None
        if before and before.last + 1 == line.first and before.by == line.by:
            self._lines[-1] = before._replace(last=line.last)
        else:
            self._lines.append(line)

    def within(self, first: int, last: int) -> Iterator[_Line]:
        """Yield what it surely says of frames `first` to `last`, cut to them."""
        for at in range(bisect_left(self._lasts, first), len(self._lines)):
            line = self._lines[at]
            if line.first > last:
                return
            yield line._replace(first=max(first, line.first), last=min(last, line.last))

    def all(self) -> Iterator[_Line]:
        return iter(self._lines)


def disputed(ways: Mapping[Pair, Sure]) -> dict[Pair, tuple[FrameRange, ...]]:
    """Return of each of six ways between three prints the frames, its own, at which the three contradict each other.

    What a statement says is doubted both ways.
    """
    found: dict[Pair, list[tuple[int, int]]] = defaultdict(list)
    for x, y, z in permutations(sorted({each for pair in ways for each in pair})):
        for first, last, by, on, direct in _contradictions(ways[x, y], ways[y, z], ways[x, z]):
            found[x, y].append((first, last))
            found[x, z].append((first, last))
            found[y, x].append((first + by, last + by))
            found[y, z].append((first + by, last + by))
            if on is not None:
                found[z, y].append((first + on, last + on))
            if direct is not None:
                found[z, x].append((first + direct, last + direct))
    return {pair: merged(ranges) for pair, ranges in found.items()}


def _contradictions(near: Sure, further: Sure, direct: Sure) -> Iterator[tuple[int, int, int, int | None, int | None]]:
    """Yield frames, first and last, and how much higher they are: in the print between, by way of it, and directly."""
    for line in near.all():
        if line.by is None:
            continue
        for on in further.within(line.first + line.by, line.last + line.by):
            way_round = None if on.by is None else line.by + on.by
            for said in direct.within(on.first - line.by, on.last - line.by):
                if said.by != way_round:
                    yield said.first, said.last, line.by, way_round, said.by


def doubting(found: FrameMap, there: Iterable[FrameRange], back: Iterable[FrameRange]) -> FrameMap:
    """Return the map, not sure of frames `there` of its one print and `back` of its other."""
    ways = (_doubting(found.there, tuple(there)), _doubting(found.back, tuple(back)))
    return FrameMap(found.one, found.other, *ways, found.by)


def _doubting(way: Way, frames: tuple[FrameRange, ...]) -> Way:
    doubted = set(every_frame(frames))
    if not doubted:
        return way
    return Way(runs_of((frame, _doubted(match) if frame in doubted else match) for frame, match in way.said()))


def _doubted(match: Match) -> Match:
    return match._replace(sure=False, chance=min(match.chance, AT_MOST))
