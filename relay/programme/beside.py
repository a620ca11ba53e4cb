"""Prints in step: which frame of each is shown together, and where one lacks what another has. Pure."""

from collections.abc import Sequence
from typing import NamedTuple

from relay.model import FrameRange, VersionName, every_frame, inside, merged
from relay.programme.lacking import Print, gaps_of


class Lacks(NamedTuple):
    """A print has nothing to show here: place `place`, from 1, of `length` that it lacks."""

    place: int
    length: int


Seen = int | Lacks
"""The frame of a print's own reel, or that it has none here."""
Step = tuple[Seen, ...]
"""What each print shows at the same time, in the order in which they were asked for."""


def in_step(one: Print, others: Sequence[VersionName], wanted: FrameRange) -> tuple[Step, ...]:
    """Return the steps over `wanted`, frames of `one`; what others have beyond `one` is stepped through, too.

    Raises ValueError where `one` was put beside none of `others`.
    """
    for other in others:
        if other not in one.maps:
            raise ValueError(f"{one.version} was not put beside {other} yet: they cannot be shown in step")
    found: list[tuple[int | None, ...]] = []
    more = _more(one, others, wanted)
    found += more.pop(wanted.first - 1, [])
    for frame in every_frame(merged(inside((wanted.first, wanted.last), one.held))):
        said = (one.maps[other].there.at(frame) for other in others)
        found.append((frame, *(match.other if match else None for match in said)))
        found += more.pop(frame, [])
    return _counted(found)


def _more(one: Print, others: Sequence[VersionName], wanted: FrameRange) -> dict[int, list[tuple[int | None, ...]]]:
    """Return the steps in which `one` has nothing, by the frame that they follow."""
    found = {}
    for gap in gaps_of(one):
        after = one.held[0].first - 1 if gap.after is None else gap.after
        if not wanted.first - 1 <= after <= wanted.last:
            continue
        has = {fill.version: list(every_frame(fill.frames)) for fill in gap.fills}
        lanes = [has.get(other, []) for other in others]
        length = max((len(lane) for lane in lanes), default=0)
        found[after] = [
            (None, *(lane[place] if place < len(lane) else None for lane in lanes)) for place in range(length)
        ]
    return found


def _counted(steps: Sequence[tuple[int | None, ...]]) -> tuple[Step, ...]:
    """Say of each frame that lacks which of how many in a row it is."""
    lanes: list[list[Seen]] = []
    for lane in zip(*steps, strict=True):
        told: list[Seen] = []
        at = 0
        while at < len(lane):
            frame = lane[at]
            if frame is not None:
                told.append(frame)
                at += 1
                continue
            length = next((place for place in range(at, len(lane)) if lane[place] is not None), len(lane)) - at
            told += [Lacks(place, length) for place in range(1, length + 1)]
            at += length
        lanes.append(told)
    return tuple(zip(*lanes, strict=True))
