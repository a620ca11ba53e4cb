"""A cut list against what there is of each reel: frames that are not there or twice, holes and overlaps. Pure."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple, Protocol

from relay.model import FrameRange, ReelName, inside, outside
from relay.model.ranges import Span
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.lacking import Fill
from relay.wording import in_words


class Kind(StrEnum):
    """What is found of a list."""

    NO_REEL = "no such reel"
    BEYOND = "beyond its reel"
    MISSING = "missing in every version"
    NOT_ACCEPTED = "not accepted yet"
    OVERLAP = "overlap"
    HOLE = "hole"
    FROM_NOTHING = "dissolve from nothing"
    TWICE = "used twice"
    BETTER = "another print has it"


BLOCKS = frozenset(Kind) - {Kind.TWICE, Kind.BETTER, Kind.NOT_ACCEPTED}


class Found(NamedTuple):
    """One finding; `frames` are of the event's reel, or places of the programme for a hole and an overlap."""

    kind: Kind
    event: int
    """Counted from 1."""
    line: int
    reel: ReelName
    frames: FrameRange
    what: str = ""

    @property
    def blocks(self) -> bool:
        """Whether the list cannot be put together so."""
        return self.kind in BLOCKS


class Prints(Protocol):
    """Who knows which other prints show what a reel lacks."""

    def showing(self, reel: ReelName, frames: FrameRange) -> Iterable[Fill]:
        """Yield what other prints have of `frames` of `reel`, best first; nothing where no alignment tells."""


@dataclass(frozen=True)
class Holdings:
    """What there is of each reel of a production."""

    reels: frozenset[ReelName]
    sent: Mapping[ReelName, tuple[FrameRange, ...]]
    """The frames that any version holds."""
    accepted: Mapping[ReelName, tuple[FrameRange, ...]]
    """The frames that accepted versions hold."""
    counted: Mapping[ReelName, int] = field(default_factory=dict)
    """How many frames the can says, where it does."""
    prints: Prints | None = None

    def ends(self, reel: ReelName) -> int | None:
        """Return the last frame that the reel can have; None where nobody knows."""
        held = self.sent.get(reel, ())
        known = [held[-1].last] if held else []
        known += [self.counted[reel] - 1] if reel in self.counted else []
        return max(known, default=None)


def check(cut_list: CutList, holdings: Holdings) -> tuple[Found, ...]:
    """Return what is found of a list, in the order of its events."""
    found = [*_placed(cut_list), *_used_twice(cut_list)]
    for number, (event, spans) in enumerate(cut_list.spans(), 1):
        for span in spans:
            found += _held(number, event, span, holdings)
    return tuple(sorted(found, key=lambda each: (each.event, not each.blocks, each.kind, each.frames.first)))


def check_whole(cut_list: CutList) -> None:
    """Raise ValueError, with the line, where a programme has a hole or an overlap."""
    for each in _placed(cut_list):
        raise ValueError(f"line {each.line}: {each.kind} at {each.frames} of the programme: {each.what}")


def _placed(cut_list: CutList) -> Iterator[Found]:
    end = 0
    before: Event | None = None
    for number, (place, event) in enumerate(cut_list.laid(), 1):
        if place > end:
            yield _found(Kind.HOLE, number, event, (end, place - 1), "nothing is shown there: let a slate stand for it")
        elif place < end:
            yield _found(Kind.OVERLAP, number, event, (place, end - 1), "two events lie there: cut one of them")
        if event.dissolve and not event.fades and (before is None or place != end):
            span = (place, place + event.dissolve - 1)
            yield _found(Kind.FROM_NOTHING, number, event, span, "let an event end where it begins, or fade from black")
        end, before = max(end, place + event.length), event


def _found(kind: Kind, number: int, event: Event, span: Span, what: str = "") -> Found:
    return Found(kind, number, event.line, event.reel, FrameRange(first=span[0], last=span[1]), what)


def _held(number: int, event: Event, span: Span, holdings: Holdings) -> Iterator[Found]:
    reel = event.reel
    if reel not in holdings.reels:
        yield _found(Kind.NO_REEL, number, event, span, "the production has no such reel")
        return
    end = holdings.ends(reel)
    if end is not None and span[1] > end:
        yield _found(Kind.BEYOND, number, event, (max(span[0], end + 1), span[1]), f"the reel ends with frame {end}")
        span = span[0], min(span[1], end)
    if span[0] > span[1]:
        return
    for lacking in outside(span, holdings.sent.get(reel, ())):
        yield _found(Kind.MISSING, number, event, lacking, "no version that was sent holds it")
        yield from _elsewhere(number, event, lacking, holdings.prints)
    for part in inside(span, holdings.sent.get(reel, ())):
        for waiting in outside(part, holdings.accepted.get(reel, ())):
            yield _found(Kind.NOT_ACCEPTED, number, event, waiting, "nobody accepted a version that holds it")


def _elsewhere(number: int, event: Event, lacking: Span, prints: Prints | None) -> Iterator[Found]:
    if prints is None:
        return
    for fill in prints.showing(event.reel, FrameRange(first=lacking[0], last=lacking[1])):
        yield _found(Kind.BETTER, number, event, lacking, _in_a_line(fill))


def _in_a_line(fill: Fill) -> str:
    there = f"{fill.version} shows it at {in_words(fill.frames, 4)}"
    part = "" if fill.is_whole() else f", {fill.count} of {fill.wanted} frames"
    return there + part + ("" if fill.sure else ", not surely: look at both")


def _used_twice(cut_list: CutList) -> Iterator[Found]:
    """Yield frames that an event before showed, too; the frames under a dissolve with them."""
    by_reel: dict[ReelName, list[tuple[int, int, int]]] = {}
    events: Sequence[Event] = cut_list.events
    for number, (event, spans) in enumerate(cut_list.spans()):
        if event.reel != SLATE and spans:
            by_reel.setdefault(event.reel, []).append((spans[0][0], spans[-1][1], number))
    for spans_of in by_reel.values():
        reaches, whose = None, 0
        for first, last, number in sorted(spans_of):
            if reaches is not None and first <= reaches:
                later, earlier = max(number, whose), min(number, whose)
                said = f"event {earlier + 1} shows it, too"
                yield _found(Kind.TWICE, later + 1, events[later], (first, min(last, reaches)), said)
            if reaches is None or last > reaches:
                reaches, whose = last, number
