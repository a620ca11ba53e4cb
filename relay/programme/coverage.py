"""A reel along one axis, each print a strip over it: what it holds, surely or not, what it lacks, where nobody knows.

Pure. The axis counts the frames of one print; what it has no numbers for is a mark between two of them.
"""

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from relay.model import FrameRange, VersionName, frame_count, merged
from relay.programme.framemap import Match
from relay.programme.lacking import Print, gaps_of

Holding = Literal["held", "not sure", "lacking"]
Level = Literal["negative", "copy", "print"]
"""How far from the camera: an original negative, what was copied from it to copy on, a print for the screen."""

_LEVELS: dict[str, Level] = {
    "original negative": "negative",
    "duplicate negative": "copy",
    "fine grain master": "copy",
    "track negative": "copy",
}


def level_of(kind: str) -> Level:
    """Return how far from the camera an element of this kind is; a print, where its kind says no more."""
    return _LEVELS.get(kind, "print")


class Stretch(NamedTuple):
    """Frames of the axis that a print holds or lacks."""

    frames: FrameRange
    holding: Holding


class Insert(NamedTuple):
    """Frames that the axis has no numbers for, after `after`; None: ahead of all."""

    after: int | None
    length: int


class Strip(NamedTuple):
    """One print over the axis."""

    name: str
    kind: str
    level: Level
    stretches: tuple[Stretch, ...]
    inserts: tuple[Insert, ...] = ()
    """What this print has and the axis lacks."""

    def share(self, axis: FrameRange) -> float:
        """Return how much of the axis it holds, surely or not: 0 to 1."""
        held = frame_count(each.frames for each in self.stretches if each.holding != "lacking")
        return held / (axis.last - axis.first + 1)


class Covered(NamedTuple):
    """One reel: its axis, and a strip for each print."""

    name: str
    axis: FrameRange
    strips: tuple[Strip, ...]
    nowhere: tuple[FrameRange, ...]
    """Frames of the axis that no print holds."""


def covered(one: Print, kinds: Mapping[VersionName, str]) -> Covered:
    """Return the reel along the numbers of `one`. Raises ValueError where it holds no frame."""
    if not one.held:
        raise ValueError(f"{one.version} holds no frames: nothing can be drawn along it")
    axis = FrameRange(first=one.held[0].first, last=one.held[-1].last)
    own = _strip(one.version, kinds, [(each, "held") for each in one.held], axis)
    others = [_other(one, name, kinds, axis) for name in sorted(one.maps)]
    held = merged(
        (each.frames.first, each.frames.last)
        for strip in (own, *others)
        for each in strip.stretches
        if each.holding != "lacking"
    )
    return Covered(one.version, axis, (own, *others), _rest(held, axis))


def _strip(
    name: VersionName,
    kinds: Mapping[VersionName, str],
    held: Sequence[tuple[FrameRange, Holding]],
    axis: FrameRange,
    inserts: tuple[Insert, ...] = (),
) -> Strip:
    lacking = _rest([frames for frames, _ in held], axis)
    stretches = [*(Stretch(*each) for each in held), *(Stretch(each, "lacking") for each in lacking)]
    kind = kinds.get(name, "")
    return Strip(name, kind, level_of(kind), tuple(sorted(stretches, key=lambda each: each.frames.first)), inserts)


def _other(one: Print, name: VersionName, kinds: Mapping[VersionName, str], axis: FrameRange) -> Strip:
    said: dict[Holding, list[tuple[int, int]]] = {"held": [], "not sure": [], "lacking": []}
    for run in one.maps[name].there.runs:
        said[_holding(run.at(run.first))].append((run.first, run.last))
    inserts = []
    for gap in gaps_of(one):
        for fill in (each for each in gap.fills if each.version == name):
            if gap.frames is None:
                inserts.append(Insert(gap.after, fill.count))
            else:  # where in the hole a part belongs, nobody can say
                said["held" if fill.sure and fill.is_whole() else "not sure"].append(
                    (gap.frames.first, gap.frames.last)
                )
    held: list[tuple[FrameRange, Holding]] = [(each, "held") for each in merged(said["held"])]
    held += [(each, "not sure") for each in merged(said["not sure"])]
    return _strip(name, kinds, held, axis, tuple(inserts))


def _holding(match: Match) -> Holding:
    if match.other is None:
        return "lacking" if match.sure else "not sure"
    return "held" if match.sure else "not sure"


def _rest(held: Sequence[FrameRange], axis: FrameRange) -> tuple[FrameRange, ...]:
    at, rest = axis.first, []
    for each in sorted(held, key=lambda each: each.first):
        if each.first > at:
            rest.append(FrameRange(first=at, last=each.first - 1))
        at = max(at, each.last + 1)
    return (*rest, FrameRange(first=at, last=axis.last)) if at <= axis.last else tuple(rest)
