"""What a print that came late adds to those that were there: which of their gaps it fills, and where both can be seen.

Pure. What nobody had before is told apart from what others have as well; nothing is chosen.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from relay.model import FrameRange, VersionName, every_frame, merged, reel_of
from relay.programme.lacking import Fill, Gap, Print


class Filled(NamedTuple):
    """A gap of another print that the late one fills, or a part of it."""

    version: VersionName
    """The print that lacks it."""
    gap: Gap
    fill: Fill
    """What the late print has of it, in its own numbers."""
    before: Fill | None
    """The best of the prints that were there; None: none had a frame of it."""

    def adds(self) -> bool:
        """Answer whether the late print has more of it than any other, or has it surely where no other does."""
        if self.before is None:
            return True
        return (self.fill.most, self.fill.sure) > (self.before.most, self.before.sure)


class Shared(NamedTuple):
    """A stretch that two prints hold, frame for frame."""

    frames: FrameRange
    """In the late print's numbers."""
    others: FrameRange
    """In the other's."""


def filled(lacking: Mapping[VersionName, Sequence[Gap]], late: VersionName) -> tuple[Filled, ...]:
    """Return the gaps of other prints of which `late` has something, print by print, each in its own order.

    Other versions of the late print's own reel do not count among those that were there.
    """
    found = []
    for version, gaps in lacking.items():
        for gap in gaps:
            fill = next((each for each in gap.fills if each.version == late), None)
            if fill is not None:
                rest = [each for each in gap.fills if reel_of(each.version) != reel_of(late)]
                found.append(
                    Filled(version, gap, fill, max(rest, key=lambda each: (each.most, each.sure), default=None))
                )
    return tuple(found)


def still_nowhere(lacking: Mapping[VersionName, Sequence[Gap]], late: VersionName) -> int:
    """Return how many places of other prints no print has whole, as far as is known, and surely not `late` either."""
    return sum(gap.is_nowhere() and late not in gap.unknown for gaps in lacking.values() for gap in gaps)


def not_known(lacking: Mapping[VersionName, Sequence[Gap]], late: VersionName) -> int:
    """Return how many places of other prints no print is known to have whole, where `late` may have them."""
    return sum(gap.is_nowhere() and late in gap.unknown for gaps in lacking.values() for gap in gaps)


def added(found: Iterable[Filled]) -> tuple[FrameRange, ...]:
    """Return the frames of the late print, in its own numbers, that fill what no other print did."""
    return merged((each.first, each.last) for one in found if one.adds() for each in one.fill.frames)


def fills(found: Iterable[Filled]) -> int:
    """Return how many frames of it fill what no other print did: of those that may be any of many, as many as lack."""
    surely, vague = set[int](), dict[tuple[FrameRange, ...], int]()
    for each in (one.fill for one in found if one.adds()):
        if each.count <= each.wanted:
            surely |= set(every_frame(each.frames))
        else:
            vague[each.frames] = max(each.wanted, vague.get(each.frames, 0))
    return len(surely) + sum(vague.values())


def shared(late: Print, other: VersionName, places: int) -> tuple[Shared, ...]:
    """Return the longest stretch of each shot that both hold surely: of the `places` longest ones, in order.

    Of a print in which nobody looked for cuts, each of `places` equal parts stands for a shot.
    """
    spans: Sequence[FrameRange] = late.spans() if late.shots is not None else _parts(late, places)
    found = [each for span in spans if (each := _longest(late, other, span)) is not None]
    chosen = sorted(found, key=lambda each: each.frames.first - each.frames.last)[:places]
    return tuple(sorted(chosen, key=lambda each: each.frames.first))


def _parts(late: Print, places: int) -> list[FrameRange]:
    first, size = late.held[0].first, late.held[-1].last - late.held[0].first + 1
    edges = [first + size * turn // places for turn in range(places + 1)]
    return [FrameRange(first=a, last=b - 1) for a, b in pairwise(edges) if b > a]


def _longest(late: Print, other: VersionName, span: FrameRange) -> Shared | None:
    best: Shared | None = None
    for run in late.maps[other].there.runs:
        first, last = max(run.first, span.first), min(run.last, span.last)
        if run.other is None or not run.sure or first > last:
            continue
        if best is None or last - first > best.frames.last - best.frames.first:
            at = run.other + first - run.first
            best = Shared(FrameRange(first=first, last=last), FrameRange(first=at, last=at + last - first))
    return best
