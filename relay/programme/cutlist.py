"""A cut list: which frames of which reel make the programme, in order, at which speed. Values only; reads nothing.

Frames are numbered as the element's reel numbers them, so a rescan changes no list.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from relay.film.cadence import Cadence
from relay.model import FrameRange, ReelName, ranges_of


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

    def __post_init__(self) -> None:
        if self.length < 1:
            raise ValueError(
                f"{self.reel} from frame {self.first} on runs for {self.length} frames: expected 1 or more"
            )
        if self.speed < 0:
            raise ValueError(f"{self.reel} from frame {self.first} on runs at {self.speed} fps: expected 0 or more")

    def shown(self, rate: Fraction) -> Iterator[Shown]:
        """Yield what each frame of this event shows in a programme of `rate` frames a second."""
        if self.speed == 0:
            return (Shown(self.reel, self.first) for _ in range(self.length))
        cadence = Cadence(self.speed, rate)
        return (Shown(self.reel, self.first + cadence.input_at(place)) for place in range(self.length))


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

    def needed(self) -> dict[ReelName, tuple[FrameRange, ...]]:
        """Return which frames of each reel are shown."""
        frames: dict[ReelName, set[int]] = {}
        for reel, frame in self.shown():
            frames.setdefault(reel, set()).add(frame)
        return {reel: ranges_of(found) for reel, found in frames.items()}


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
