"""A reel along one axis, each print a strip over it: what it holds, surely or not, what it lacks, where nobody knows.

Pure. The axis counts the frames of one print; what it has no numbers for is a mark between two of them.
"""

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from relay.media.decay import Decayed
from relay.model import FrameRange, VersionName, frame_count, merged, outside
from relay.programme.framemap import FrameMap, Match
from relay.programme.lacking import Gap, Print, gaps_of

Holding = Literal["held", "not sure", "not known", "lacking"]
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


class About(NamedTuple):
    """What is known of a version beside its frames."""

    kind: str = ""
    """What it was scanned from: `duplicate negative, second`."""
    decay: tuple[Decayed, ...] | None = None
    """Where it has decayed, in its reel's numbers. None: nobody looked."""
    title: str = ""
    """Of its element: `The tinted print`."""


class Strip(NamedTuple):
    """One print over the axis."""

    name: str
    kind: str
    level: Level
    stretches: tuple[Stretch, ...]
    inserts: tuple[Insert, ...] = ()
    """What this print has and the axis lacks."""
    decay: tuple[Decayed, ...] | None = None
    """Where what it shows has decayed, along the axis. None: nobody looked."""
    by: tuple[VersionName, ...] = ()
    """The prints by way of which that is known, where nobody put it beside the axis."""
    title: str = ""
    """Of its element."""

    def share(self, axis: FrameRange) -> float:
        """Return how much of the axis it holds, surely or not: 0 to 1."""
        return frame_count(self.of("held", "not sure")) / (axis.last - axis.first + 1)

    def of(self, *holdings: Holding) -> tuple[FrameRange, ...]:
        """Return the stretches of the axis of which one of `holdings` is said."""
        return tuple(each.frames for each in self.stretches if each.holding in holdings)


def share_in_words(strip: Strip, axis: FrameRange) -> str:
    """Return how much of the axis it holds, in percent: 100 only where it holds all of it."""
    percent = f"{100 * strip.share(axis):.1f} %"
    return "over 99.9 %" if percent == "100.0 %" and strip.share(axis) < 1 else percent


class Covered(NamedTuple):
    """One reel: its axis, and a strip for each print."""

    name: str
    axis: FrameRange
    strips: tuple[Strip, ...]
    nowhere: tuple[FrameRange, ...]
    """Frames of the axis that all prints lack."""


def covered(one: Print, about: Mapping[VersionName, About]) -> Covered:
    """Return the reel along the numbers of `one`. Raises ValueError where it holds no frame."""
    if not one.held:
        raise ValueError(f"{one.version} holds no frames: nothing can be drawn along it")
    axis = FrameRange(first=one.held[0].first, last=one.held[-1].last)
    known = about.get(one.version, About())
    own = _strip(one.version, known, {"held": [(each.first, each.last) for each in one.held]}, axis)
    lacking = gaps_of(one)
    others = [_other(one, name, about.get(name, About()), axis, lacking) for name in sorted(one.maps)]
    at_all = merged((each.first, each.last) for strip in (own, *others) for each in strip.of(*_MAYBE))
    return Covered(one.version, axis, (own._replace(decay=known.decay), *others), _rest(at_all, axis))


_MAYBE: tuple[Holding, ...] = ("held", "not sure", "not known")


def _strip(
    name: VersionName,
    about: About,
    said: Mapping[Holding, Sequence[tuple[int, int]]],
    axis: FrameRange,
    inserts: tuple[Insert, ...] = (),
) -> Strip:
    """Return a strip that lacks what nothing else is said of."""
    told = {holding: merged(said.get(holding, ())) for holding in _MAYBE}
    lacking = _rest([each for ranges in told.values() for each in ranges], axis)
    stretches = [Stretch(each, holding) for holding, ranges in told.items() for each in ranges]
    stretches += [Stretch(each, "lacking") for each in lacking]
    ordered = tuple(sorted(stretches, key=lambda each: each.frames.first))
    level = level_of(about.kind.partition(",")[0])
    return Strip(name, about.kind, level, ordered, inserts, title=about.title)


def _other(one: Print, name: VersionName, about: About, axis: FrameRange, lacking: Sequence[Gap]) -> Strip:
    frame_map, said = one.maps[name], dict[Holding, list[tuple[int, int]]]()
    for run in frame_map.there.runs:
        said.setdefault(_holding(run.at(run.first)), []).append((run.first, run.last))
    told = merged((run.first, run.last) for run in frame_map.there.runs)
    said["not known"] = [part for held in one.held for part in outside((held.first, held.last), told)]
    inserts = []
    for gap in lacking:
        fill = next((fill for fill in gap.fills if fill.version == name), None)
        if gap.frames is None:
            inserts += [Insert(gap.after, fill.count)] if fill else []
        elif name in gap.unknown:
            said["not known"].append((gap.frames.first, gap.frames.last))
        elif fill:  # where in the hole a part belongs, nobody can say
            holding: Holding = "held" if fill.sure and fill.is_whole() else "not sure"
            said.setdefault(holding, []).append((gap.frames.first, gap.frames.last))
    strip = _strip(name, about, said, axis, tuple(inserts))
    return strip._replace(decay=_along(frame_map, about.decay), by=frame_map.by)


def _along(frame_map: FrameMap, decay: Sequence[Decayed] | None) -> tuple[Decayed, ...] | None:
    """Return the other print's decay by the frames of the axis that show it."""
    if decay is None:
        return None
    found = []
    for run in frame_map.there.runs:
        for each in decay if run.other is not None else ():
            by = run.first - (run.other or 0)
            first, last = max(run.first, each.frames.first + by), min(run.last, each.frames.last + by)
            if first <= last:
                found.append(Decayed(frames=FrameRange(first=first, last=last), share=each.share))
    return tuple(found)


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
