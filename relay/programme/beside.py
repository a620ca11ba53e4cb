"""Prints in step: which frame of each is shown together, and where one lacks what another has. Pure."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from relay.model import FrameRange, ReelName, VersionName, code_of, every_frame, inside, merged, number_of
from relay.programme.agreeing import Pair
from relay.programme.cutlist import CutList
from relay.programme.framemap import FrameMap, Way
from relay.programme.lacking import Print, gaps_of


class Lacks(NamedTuple):
    """A print has nothing to show here: place `place`, from 1, of `length` that it lacks."""

    place: int
    length: int


Seen = int | Lacks
"""The frame of a print's own reel, or that it has none here."""
Step = tuple[Seen, ...]
"""What each print shows at the same time, in the order in which they were asked for."""


class Part(NamedTuple):
    """Steps through one stretch of one reel. A lane is a pane of the table; None: it has no print there."""

    lanes: tuple[VersionName | None, ...]
    steps: tuple[Step, ...]
    unsure: frozenset[tuple[int, int]] = frozenset()
    """Of which step, from 0, and lane the maps are not sure, whether it shows a frame or lacks it."""


def part_of(one: Print, others: Sequence[VersionName], wanted: FrameRange) -> Part:
    """Return the steps over `wanted`, frames of `one`, in the first lane, and `others`. Raises ValueError."""
    steps = in_step(one, others, wanted)
    return _weighed(one, Part((one.version, *others), steps))


def after_of(part: Part, at: int, lane: int) -> int | None:
    """Return the frame that a print showed last before step `at`, where it lacks one; None where it showed none yet."""
    seen = part.steps[at][lane]
    first = at - seen.place if isinstance(seen, Lacks) else at - 1
    before = part.steps[first][lane] if first >= 0 else None
    return None if isinstance(before, Lacks) else before


def _weighed(one: Print, part: Part) -> Part:
    axis = part.lanes.index(one.version)
    unsure = {
        (at, lane)
        for at, step in enumerate(part.steps)
        for lane, name in enumerate(part.lanes)
        if name not in {None, one.version} and not _is_sure(one, part.lanes, step, axis, lane)
    }
    return part._replace(unsure=frozenset(unsure))


def _is_sure(one: Print, lanes: Sequence[VersionName | None], step: Step, axis: int, lane: int) -> bool:
    """Answer whether the maps are sure of what is shown beside a frame, or in the place of one that is lacking."""
    own, seen, frame_map = step[axis], step[lane], one.maps[VersionName(lanes[lane] or "")]
    if not isinstance(own, Lacks):
        said = frame_map.there.at(own)
        return said is not None and said.sure
    if not isinstance(seen, Lacks) and ((said := frame_map.back.at(seen)) is None or not said.sure):
        return False
    rest = [(lanes[other], step[other]) for other in range(len(lanes)) if other not in {axis, lane}]
    return all(
        _goes_with(one.among, (name, frame), (lanes[lane], seen))
        for name, frame in rest
        if not isinstance(frame, Lacks)
    )


def _goes_with(
    among: Mapping[Pair, FrameMap], one: tuple[VersionName | None, Seen], other: tuple[VersionName | None, Seen]
) -> bool:
    """Answer whether a map is sure that a frame of one print is what the other shows, or lacks, in the same step."""
    (name, frame), (beside, seen) = one, other
    if name is None or beside is None or isinstance(frame, Lacks) or (name, beside) not in among:
        return False
    said = among[name, beside].there.at(frame)
    return said is not None and said.sure and said.other == (None if isinstance(seen, Lacks) else seen)


def along(cut_list: CutList, prints: Mapping[ReelName, Print], codes: Sequence[str]) -> tuple[Part, ...]:
    """Return a part for each stretch of the programme: its reel's print, and those of other elements beside it.

    A lane for each of `codes`. What is no film, or of a reel that is not among `prints`, is left out. Raises ValueError
    where the list shows an element that is not among `codes`.
    """
    found = []
    for event, spans in cut_list.spans():
        one = prints.get(event.reel)
        if one is None:
            continue
        lanes = [_of_element(one, code) for code in codes]
        if one.version not in lanes:
            raise ValueError(f"the list shows {event.reel}, and only {', '.join(codes)} are to be shown: name it, too")
        for first, last in spans:
            found.append(_laned(one, lanes, FrameRange(first=first, last=last)))
    return tuple(found)


def _of_element(one: Print, code: str) -> VersionName | None:
    """Return the print itself, or the newest of an element that it was put beside."""
    if code_of(one.version) == code:
        return one.version
    return max((name for name in one.maps if code_of(name) == code), key=number_of, default=None)


def _laned(one: Print, lanes: Sequence[VersionName | None], wanted: FrameRange) -> Part:
    others = [name for name in lanes if name not in {None, one.version}]
    shown: list[VersionName | None] = [one.version, *others]
    steps = in_step(one, [name for name in others if name is not None], wanted, with_ends=False)
    places = [shown.index(name) if name is not None else None for name in lanes]
    laid = (
        tuple(Lacks(at, len(steps)) if place is None else step[place] for place in places)
        for at, step in enumerate(steps, 1)
    )
    return _weighed(one, Part(tuple(lanes), tuple(laid)))


def in_step(
    one: Print, others: Sequence[VersionName], wanted: FrameRange, *, with_ends: bool = True
) -> tuple[Step, ...]:
    """Return the steps over `wanted`, frames of `one`; what others have beyond `one` is stepped through, too.

    `with_ends`: what they have just before it and just after it as well, not only within. Raises ValueError where
    `one` was put beside none of `others`.
    """
    for other in others:
        if other not in one.maps:
            raise ValueError(f"{one.version} was not put beside {other} yet: they cannot be shown in step")
    found: list[tuple[int | None, ...]] = []
    more = _more(one, others, (wanted.first - 1, wanted.last) if with_ends else (wanted.first, wanted.last - 1))
    found += more.pop(wanted.first - 1, [])
    for frame in every_frame(merged(inside((wanted.first, wanted.last), one.held))):
        said = (one.maps[other].there.at(frame) for other in others)
        found.append((frame, *(match.other if match else None for match in said)))
        found += more.pop(frame, [])
    return _counted(found)


def _more(
    one: Print, others: Sequence[VersionName], following: tuple[int, int]
) -> dict[int, list[tuple[int | None, ...]]]:
    """Return the steps in which `one` has nothing, by the frame that they follow, from one such frame to another."""
    found = {}
    for gap in gaps_of(one):
        after = one.held[0].first - 1 if gap.after is None else gap.after
        if not following[0] <= after <= following[1]:
            continue
        has = {fill.version: list(every_frame(fill.frames)) for fill in gap.fills}
        lanes = [has.get(other, []) for other in others]
        found[after] = [(None, *step) for step in _laid(one.among, others, lanes)]
    return found


def _laid(
    among: Mapping[Pair, FrameMap], others: Sequence[VersionName], lanes: Sequence[Sequence[int]]
) -> list[list[int | None]]:
    """Return the steps of frames that the axis lacks: together what two prints show alike, as their own map says.

    Of prints that were not put side by side, the frames go together in their order: nobody knows better.
    """
    steps: list[list[int | None]] = []
    for lane, frames in enumerate(lanes):
        ways = [(other, among.get((others[lane], others[other]))) for other in range(lane) if lanes[other]]
        known = [(other, frame_map.there) for other, frame_map in ways if frame_map is not None]
        at = -1
        for frame in frames:
            place = _place(steps, known, frame, at) if known or not ways else at + 1
            if place is None or place == len(steps):
                place = at + 1
                steps.insert(place, [None] * len(lanes))
            at = place
            steps[at][lane] = frame
    return steps


def _place(
    steps: Sequence[Sequence[int | None]], known: Sequence[tuple[int, Way]], frame: int, after: int
) -> int | None:
    """Return the step after `after` that shows what `frame` shows; None where none does."""
    for other, way in known:
        said = way.at(frame)
        if said is None or said.other is None:
            continue
        for at in range(after + 1, len(steps)):
            if steps[at][other] == said.other:
                return at
    return None


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
