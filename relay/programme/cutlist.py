"""A cut list: which frames of which reel make the programme, in order, at which speed. Values only; reads nothing.

Frames are numbered as the element's reel numbers them, so a rescan changes no list.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor
from typing import NamedTuple

from relay.film.cadence import Cadence
from relay.model import FrameRange, ReelName, merged

SLATE = ReelName("slate/BL")
"""Stands for a reel where an event shows no film: black, or a title that is made new. No element is called so."""


class Shown(NamedTuple):
    """What one frame of the programme shows."""

    reel: ReelName
    frame: int


@dataclass(frozen=True, slots=True)
class Event:
    """`length` frames of the programme, from `reel`'s frame `first` on, `speed` source frames a second; 0 freezes."""

    reel: ReelName
    first: int
    length: int
    speed: Fraction
    into: Fraction = Fraction(0)
    """How far into `first` it begins, in frames of the reel, below 1: a shot that is cut within its repeat pattern."""
    dissolve: int = 0
    """So many frames mix in from the event before, which runs on under them."""
    fades: bool = False
    """It mixes in from black instead, and the event before does not run on."""
    wipe: int | None = None
    """The number of a wipe, as lists count them, by which it comes in over those frames; None: evenly."""
    at: int | None = None
    """Its place in the programme; None, as in every whole programme: where the event before ends."""
    title: str = ""
    """What a slate says, or what the list calls this shot."""
    line: int = field(default=0, compare=False)
    """Where in its file it stands, from 1; 0 where it comes from no file."""

    def __post_init__(self) -> None:
        where = f"{self.reel} from frame {self.first} on"
        if self.length < 1:
            raise ValueError(f"{where} runs for {self.length} frames: expected 1 or more")
        if self.speed < 0:
            raise ValueError(f"{where} runs at {self.speed} fps: expected 0 or more")
        if not 0 <= self.into < 1:
            raise ValueError(f"{where} begins {self.into} into a frame: expected 0 to below 1")
        if not 0 <= self.dissolve <= self.length:
            raise ValueError(f"{where} dissolves in over {self.dissolve} frames: expected at most its {self.length}")
        if self.wipe is not None and not (0 <= self.wipe <= 999 and self.dissolve):
            raise ValueError(f"{where} comes in by wipe {self.wipe}: expected 0 to 999, and its length as `dissolve`")

    @property
    def is_slate(self) -> bool:
        """Whether it shows no film."""
        return self.reel == SLATE

    def runs_on(self, places: int, rate: Fraction) -> Iterator[Shown]:
        """Yield what it shows for so many more places than it has, as under a dissolve to the next."""
        return (Shown(self.reel, self.frame_at(self.length + step, rate)) for step in range(places))

    def frame_at(self, place: int, rate: Fraction) -> int:
        """Return the frame of the reel at `place` frames after the event's beginning; beyond its end, it runs on."""
        return self.first + floor(self.into + place * self.speed / rate)

    def shown(self, rate: Fraction) -> Iterator[Shown]:
        """Yield what each frame of this event shows in a programme of `rate` frames a second.

        Under a dissolve that is what comes: `CutList.leaving` tells what goes.
        """
        if self.speed == 0:
            return (Shown(self.reel, self.first) for _ in range(self.length))
        if self.into:
            return (Shown(self.reel, self.frame_at(place, rate)) for place in range(self.length))
        cadence = Cadence(self.speed, rate)
        return (Shown(self.reel, self.first + cadence.input_at(place)) for place in range(self.length))

    def spans(self, rate: Fraction, more: int = 0) -> tuple[tuple[int, int], ...]:
        """Return the frames shown, first and last of each run, where the event runs on for `more` places."""
        if self.is_slate:
            return ()
        end = self.length + more
        if self.speed <= rate:  # no frame is left out
            return ((self.first, self.frame_at(end - 1, rate)),)
        shown = (self.frame_at(place, rate) for place in range(end))
        return tuple((each.first, each.last) for each in merged((frame, frame) for frame in shown))


@dataclass(frozen=True, slots=True)
class CutList:
    """A programme at `rate` frames a second."""

    rate: Fraction
    events: tuple[Event, ...]

    def length(self) -> int:
        """Return how many frames the programme has."""
        return sum(event.length for event in self.events)

    def shown(self) -> Iterator[Shown]:
        """Yield what each frame of the programme shows, in order."""
        for event in self.events:
            yield from event.shown(self.rate)

    def laid(self) -> Iterator[tuple[int, Event]]:
        """Yield each event with the place that it begins at: where it says, else where the one before ends."""
        end = 0
        for event in self.events:
            begins = end if event.at is None else event.at
            yield begins, event
            end = begins + event.length

    def leaving(self) -> tuple[int, ...]:
        """Return for how many places each event runs on under the dissolve after it."""
        return (*(0 if event.fades else event.dissolve for event in self.events[1:]), 0)[: len(self.events)]

    def spans(self) -> Iterator[tuple[Event, tuple[tuple[int, int], ...]]]:
        """Yield each event with the frames that it shows, those under the dissolve after it with them."""
        for event, more in zip(self.events, self.leaving(), strict=True):
            yield event, event.spans(self.rate, more)

    def going(self) -> dict[int, Shown]:
        """Return what goes at each place under a dissolve, where that is a picture: slates and black are left out."""
        found: dict[int, Shown] = {}
        before: Event | None = None
        for begins, event in self.laid():
            if before is not None and not before.is_slate and not event.fades:
                found |= dict(enumerate(before.runs_on(event.dissolve, self.rate), begins))
            before = event
        return found

    def needed(self) -> dict[ReelName, tuple[FrameRange, ...]]:
        """Return which frames of each reel are shown."""
        found: dict[ReelName, list[tuple[int, int]]] = {}
        for event, spans in self.spans():
            if spans:
                found.setdefault(event.reel, []).extend(spans)
        return {reel: merged(spans) for reel, spans in found.items()}


class Wrong(NamedTuple):
    """A place of the programme that does not show what the list says; None stands for a frame that is not there."""

    place: int
    expected: Shown | None
    found: Shown | None


def conform(cut_list: CutList, returned: dict[int, Shown]) -> tuple[Wrong, ...]:
    """Return every place, counted from 0, at which what came back, by its declared numbers, differs from the list."""
    wanted = dict(enumerate(cut_list.shown()))
    return tuple(
        Wrong(place, wanted.get(place), returned.get(place))
        for place in sorted(wanted.keys() | returned.keys())
        if wanted.get(place) != returned.get(place)
    )
