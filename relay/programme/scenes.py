"""A plan of scenes and where each one's sound ends: the TOML that a person writes to fit a reel to its sound. Pure."""

import tomllib
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Self

from pydantic import Field, model_validator

from relay.film.rates import parse_rate, parse_running_time
from relay.model import FrameRange, Frozen, Line, ReelField, ReelName
from relay.programme.fitting import FASTEST, SLOWEST
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
