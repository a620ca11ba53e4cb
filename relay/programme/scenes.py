"""A plan of scenes and where each one's sound ends: the TOML that a person writes to fit a reel to its sound. Pure."""

import tomllib
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Self

from pydantic import Field, model_validator

from relay.film.rates import parse_rate, parse_running_time
from relay.model import FrameRange, Frozen, Line, ReelField, ReelName, reel_of
from relay.programme.cutlist import CutList, Event
from relay.programme.fitting import FASTEST, SLOWEST
from relay.programme.framemap import FrameMap
from relay.programme.running import Scene

Length = Callable[[ReelName, FrameRange], int]
"""How many frames a scene has that lies on these frames of a reel."""

SCENES = 10_000  # of one reel, at most


class SceneLine(Frozen):
    """One `[[scene]]`."""

    name: Line
    speed: str
    frames: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    reel: ReelField | None = None
    first: int | None = None
    last: int | None = None
    until: str | None = None

    @model_validator(mode="after")
    def _has_a_length(self) -> Self:
        placed = [each is not None for each in (self.reel, self.first, self.last)]
        if any(placed) != all(placed) or all(placed) == (self.frames is not None):
            raise ValueError(f"scene {self.name!r} needs `frames`, or `reel`, `first` and `last`: one of both, whole")
        _speed(self)
        if self.until is not None:
            parse_running_time(self.until)
        if self.first is not None and self.last is not None:
            FrameRange(first=self.first, last=self.last)
        return self


class ScenePlan(Frozen):
    """The whole file."""

    rate: str = "24"
    tolerance: Annotated[str, Field(pattern=r"^[0-9]{1,4}(/[1-9][0-9]{0,3}|\.[0-9]{1,4})?$")] = "1"
    """Frames of the programme."""
    sound: Line | None = None
    """A file beside this one."""
    scene: Annotated[tuple[SceneLine, ...], Field(min_length=1, max_length=SCENES)]

    @model_validator(mode="after")
    def _has_a_rate(self) -> Self:
        parse_rate(self.rate)
        return self

    def scenes(self, length: Length) -> tuple[Scene, ...]:
        """Return the scenes with their lengths, for those on a reel as `length` says."""
        return tuple(_scene(line, length) for line in self.scene)


def _scene(line: SceneLine, length: Length) -> Scene:
    frames = line.frames
    if line.reel is not None and line.first is not None and line.last is not None:
        frames = length(line.reel, FrameRange(first=line.first, last=line.last))
    assert frames is not None
    until = None if line.until is None else parse_running_time(line.until)
    return Scene(line.name, frames, _speed(line), until)


def _speed(line: SceneLine) -> Fraction:
    speed = parse_rate(line.speed)
    if not SLOWEST <= speed <= FASTEST:
        raise ValueError(f"scene {line.name!r} runs at {line.speed}: expected {SLOWEST} to {FASTEST} frames a second")
    return speed


def as_filmed(_reel: ReelName, frames: FrameRange) -> int:
    """Return the length of a scene whose reel has every frame of it."""
    return frames.last - frames.first + 1


def parse_scenes(text: str) -> ScenePlan:
    """Return the plan in a TOML file's text. Raises ValueError."""
    return ScenePlan.model_validate(tomllib.loads(text))


def scenes_of(cut_list: CutList) -> tuple[Scene, ...]:
    """Return a list's events as scenes of as many frames as they show, each as long as it is in the list.

    A scene's speed is what its whole frames make of its length: within half a frame of film, the list's own. A freeze
    or a slate counts as many frames as it has places.
    """
    return tuple(_scene_of(number, event, cut_list.rate) for number, event in enumerate(cut_list.events, 1))


def _scene_of(number: int, event: Event, rate: Fraction) -> Scene:
    is_still = event.speed == 0 or event.is_slate
    frames = event.length if is_still else max(1, round(event.length * event.speed / rate))
    name = event.title or (f"slate {number}" if event.is_slate else f"{event.reel} from {event.first}")
    return Scene(name, frames, frames * rate / event.length)


def guided(frame_map: FrameMap) -> Length:
    """Return the lengths that scenes have in the print that `frame_map` leads to: a guide print, which lacks less.

    The lengths raise ValueError where the map does not say where in the guide print a scene begins or ends.
    """

    def length(reel: ReelName, frames: FrameRange) -> int:
        if reel != reel_of(frame_map.one):
            raise ValueError(f"the guide's map speaks of {reel_of(frame_map.one)}, the scene lies on {reel}")
        ends = [frame_map.there.at(frame) for frame in (frames.first, frames.last)]
        first, last = (None if found is None else found.other for found in ends)
        if first is None or last is None or last < first:
            raise ValueError(
                f"the map does not say where {frame_map.other} has frames {frames.first} and {frames.last} of {reel}: "
                "begin and end the scene on frames that both prints have"
            )
        return last - first + 1

    return length
