"""What each print lacks, and which other print has it: holes in one print's numbers, and frames that it never counted.

Pure. Frames are numbered by each print's own reel. What a map is not sure of is never told as sure.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

from relay.model import FrameRange, VersionName, every_frame, frame_count, inside, merged, outside
from relay.programme.agreeing import Disputed, Pair
from relay.programme.framemap import FrameMap, Insert, Match


@dataclass(frozen=True)
class Print:
    """One print of a reel: the frames that its version holds, and maps that begin at it."""

    version: VersionName
    held: tuple[FrameRange, ...]
    maps: Mapping[VersionName, FrameMap]
    shots: tuple[int, ...] | None = None
    """The frames that begin another shot than the one before them; None: nobody looked for cuts."""
    disputed: Mapping[VersionName, tuple[Disputed, ...]] = field(default_factory=dict)
    """Its frames at which a third print contradicts a map, by where the map leads: there it is not sure."""
    among: Mapping[Pair, FrameMap] = field(default_factory=dict)
    """Maps between the other prints, both ways, where they were asked for: what holds where this one lacks frames."""

    def shot_of(self, frame: int) -> int | None:
        """Return which of its shots holds `frame`, counted from 1; None where nobody looked for cuts."""
        return None if self.shots is None else 1 + bisect_right(self.shots, frame)

    def spans(self) -> tuple[FrameRange, ...]:
        """Return its shots from end to end, in order; one span, where nobody looked for cuts."""
        if not self.held:
            return ()
        first, last = self.held[0].first, self.held[-1].last
        edges = [first, *(cut for cut in self.shots or () if first < cut <= last), last + 1]
        return tuple(FrameRange(first=a, last=b - 1) for a, b in pairwise(edges))


@dataclass(frozen=True)
class Fill:
    """What another print has of a range."""

    version: VersionName
    frames: tuple[FrameRange, ...]
    """In the other print's numbers."""
    wanted: int
    """How many frames are asked for."""
    sure: bool
    chance: int
    """How likely that is, in percent, as the map says."""
    certain: tuple[FrameRange, ...] = ()
    """Those of its frames that are surely right."""
    widest: FrameRange | None = None
    """As far as they may reach, where their edges are doubtful."""
    unknown: int = 0
    """Frames that are asked for and of which the map says nothing."""
    by: tuple[VersionName, ...] = ()
    """The prints by way of which that is known, where nobody put the two side by side."""

    @property
    def count(self) -> int:
        """Return how many frames it has."""
        return frame_count(self.frames)

    @property
    def most(self) -> int:
        """Return how many of the wanted frames it has at most; where edges are doubtful, more come into question."""
        return min(self.count, self.wanted)

    def is_whole(self) -> bool:
        """Answer whether it has as many frames as are wanted."""
        return self.count >= self.wanted


@dataclass(frozen=True)
class Gap:
    """Frames that a print lacks: a hole in its own numbers, or what others have between two frames that follow."""

    after: int | None
    """The last frame before it; None: it lies before all of the print."""
    frames: FrameRange | None
    """Its numbers in the print's reel; None: the print's numbers leave no room for it."""
    length: int
    fills: tuple[Fill, ...]
    """Best first."""
    unknown: tuple[VersionName, ...] = ()
    """Prints of which nobody knows whether they have it."""
    shot: int | None = None
    """The shot that it lies in or follows; of what lies before the print, the first. None: nobody looked for cuts."""

    def is_nowhere(self) -> bool:
        """Answer whether no print is known to have all of it."""
        return not any(each.is_whole() for each in self.fills)

    def found(self) -> int:
        """Return how many of its frames the best print has, surely or not."""
        return min(self.length, max((each.count for each in self.fills), default=0))

    def not_known(self) -> int:
        """Return how many of its frames no print is known to have, where nothing is known of some print."""
        return self.length - self.found() if self.unknown else 0

    def surely(self) -> int:
        """Return how many of its frames the surest print has surely."""
        return min(self.length, max((frame_count(each.certain) for each in self.fills), default=0))


def filled_by(one: Print, wanted: FrameRange) -> tuple[Fill, ...]:
    """Return what each aligned print has of `wanted`, whether this print holds those frames or not; best first."""
    found = (_fill(one, frame_map, wanted) for frame_map in one.maps.values())
    return tuple(sorted(found, key=lambda fill: (-fill.most, not fill.sure, -fill.chance, fill.version)))


def _fill(one: Print, frame_map: FrameMap, wanted: FrameRange) -> Fill:
    span = (wanted.first, wanted.last)
    asked = [frame_map.there.at(frame) for frame in every_frame(merged(inside(span, one.held)))]
    said = [match for match in asked if match is not None]
    others: dict[int, Match] = {match.other: match for match in said if match.other is not None}
    unknown = len(asked) - len(said)
    for first, last in outside(span, one.held):
        between = _between(frame_map, FrameRange(first=first, last=last))
        unknown += last - first + 1 if between is None else 0
        others |= between or {}
    weighed = [*others.values(), *(match for match in said if match.other is None)]
    size = wanted.last - wanted.first + 1
    return Fill(
        frame_map.other,
        merged((frame, frame) for frame in others),
        size,
        sure=bool(weighed) and not unknown and all(match.sure for match in weighed) and len(others) <= size,
        chance=sum(match.chance for match in weighed) // len(weighed) if weighed else 0,
        certain=merged((frame, frame) for frame, match in others.items() if match.sure),
        unknown=unknown,
        by=frame_map.by,
    )


def _between(frame_map: FrameMap, hole: FrameRange) -> dict[int, Match] | None:
    """Return frames of the other print that lie between what surrounds `hole`: those that a hole's numbers stand for.

    Where the other print has more frames there than `hole` is long, or an edge is unsure, none of them is sure. A
    number of which a map says nothing is no frame of the other print; by way of a third it may be one that the third
    lacks, so that none is sure. None: nothing is known of what surrounds it, or not surely that there is none.
    """
    low = _edge(frame_map, range(hole.first - 1, hole.first - 1 - EDGE, -1))
    high = _edge(frame_map, range(hole.last + 1, hole.last + 1 + EDGE))
    if low is None or high is None or low.other is None or high.other is None or high.other <= low.other:
        return None
    own = {frame: frame_map.back.at(frame) for frame in range(low.other + 1, high.other)}
    lacked = [frame for frame, said in own.items() if said is not None and said.other is None]
    if not lacked and not all(said and said.sure for said in (low, high, *own.values())):
        return None
    is_silent = bool(frame_map.by) and None in own.values()
    sure = low.sure and high.sure and not is_silent and len(lacked) == hole.last - hole.first + 1
    chance = min(low.chance, high.chance) if sure else min(low.chance, high.chance) // 2
    return {frame: Match(frame, chance, sure) for frame in lacked}


EDGE = 12
"""Frames to either side of a hole in which something must be known of the other print."""


def _edge(frame_map: FrameMap, frames: Iterable[int]) -> Match | None:
    said = (frame_map.there.at(frame) for frame in frames)
    known = [match for match in said if match is not None and match.other is not None]
    return next((match for match in known if match.sure), known[0] if known else None)


def gaps_of(one: Print) -> tuple[Gap, ...]:
    """Return what `one` lacks, in its own order: holes in its numbers, then what only other prints' maps tell of."""
    holes = [FrameRange(first=a.last + 1, last=b.first - 1) for a, b in pairwise(one.held) if b.first > a.last + 1]
    found = [_as_gap(one, hole.first - 1, hole, filled_by(one, hole)) for hole in holes]
    found += [gap for gap in _untold(one) if not any(_touches(gap, hole) for hole in holes)]
    return tuple(sorted(found, key=lambda gap: -(10**9) if gap.after is None else gap.after))


def _touches(gap: Gap, hole: FrameRange) -> bool:
    return gap.after is not None and hole.first - 1 - EDGE <= gap.after <= hole.last + EDGE


def _untold(one: Print) -> Iterable[Gap]:
    """Yield places at which other prints have frames that this one neither holds nor leaves a number for."""
    places: dict[int | None, list[Fill]] = {}
    for frame_map in one.maps.values():
        here: dict[int | None, list[Insert]] = {}
        for insert in frame_map.inserts():  # a hole in the other print's own numbers parts what belongs to one place
            here.setdefault(insert.after, []).append(insert)
        for after, inserts in here.items():
            places.setdefault(after, []).append(_inserted(frame_map, inserts))
    for after, fills in places.items():
        longest = max(fill.count for fill in fills)
        levelled = [replace(each, wanted=longest) for each in fills]
        yield _as_gap(one, after, None, sorted(levelled, key=lambda each: (-each.count, not each.sure)), longest)


def _inserted(frame_map: FrameMap, inserts: Sequence[Insert]) -> Fill:
    """Return what the other print has at one place."""
    frames = merged((each.frames.first, each.frames.last) for each in inserts)
    said = [match for each in every_frame(frames) if (match := frame_map.back.at(each)) is not None]
    return Fill(
        frame_map.other,
        frames,
        frame_count(frames),
        sure=all(each.sure for each in inserts),
        chance=sum(match.chance for match in said) // len(said) if said else 0,
        certain=merged((each.certain.first, each.certain.last) for each in inserts if each.certain),
        widest=FrameRange(first=inserts[0].widest.first, last=inserts[-1].widest.last),
        by=frame_map.by,
    )


def _as_gap(
    one: Print, after: int | None, frames: FrameRange | None, fills: Sequence[Fill], length: int | None = None
) -> Gap:
    size = length if length is not None else (frames.last - frames.first + 1 if frames else 0)
    shot = one.shot_of(one.held[0].first if after is None else after) if one.held else None
    unknown = tuple(fill.version for fill in fills if fill.unknown)
    return Gap(after, frames, size, tuple(fill for fill in fills if fill.count), unknown, shot)


class InShot(NamedTuple):
    """One shot of a print that lacks something."""

    shot: int
    """Counted from 1."""
    frames: FrameRange
    """From its first frame to its last, in the print's numbers."""
    places: int
    lacks: int
    """Frames."""
    found: int
    """Of them, what another print has, surely or not."""
    surely: int


def by_shot(one: Print, lacking: Iterable[Gap]) -> tuple[InShot, ...]:
    """Return the shots of `one` that lack something, in order; none where nobody looked for cuts."""
    spans, places = one.spans(), dict[int, list[Gap]]()
    for gap in lacking:
        if gap.shot is not None:
            places.setdefault(gap.shot, []).append(gap)
    return tuple(InShot(shot, spans[shot - 1], len(gaps), *lacked(gaps)) for shot, gaps in sorted(places.items()))


def lacked(gaps: Iterable[Gap]) -> tuple[int, int, int]:
    """Return how many frames gaps are long, how many of them another print has, and how many of these surely."""
    told = [(gap.length, gap.found(), gap.surely()) for gap in gaps]
    return sum(each[0] for each in told), sum(each[1] for each in told), sum(each[2] for each in told)
