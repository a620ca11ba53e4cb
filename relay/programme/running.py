"""Where each scene of a programme lies in time, frame by frame, at a speed of its own. Values only; reads nothing.

Scenes follow each other in exact time, and each frame of the programme shows what the film shows in the middle of that
frame. So no scene begins or ends more than half a frame of the programme from its true time, however many precede it:
rounding each scene's length by itself would add up.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from relay.film.cadence import Cadence

HALF = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Scene:
    """`frames` frames of film, shown at `speed` frames a second."""

    name: str
    frames: int
    speed: Fraction
    until: Fraction | None = None
    """Where its sound ends, in seconds from the sound's beginning; None: nothing holds this scene's end."""

    def __post_init__(self) -> None:
        if self.frames < 1 or self.speed <= 0:
            raise ValueError(
                f"scene {self.name!r} has {self.frames} frames at {self.speed} a second: expected 1 or more, above 0"
            )

    def lasts(self) -> Fraction:
        """Return how many seconds the scene runs."""
        return self.frames / self.speed


@dataclass(frozen=True, slots=True)
class Laid:
    """A scene in its place: `length` frames of the programme from `first` on, which begins in second `begins`."""

    scene: Scene
    begins: Fraction
    first: int
    length: int
    cadence: Cadence

    def ends(self) -> Fraction:
        """Return the second in which the next scene begins."""
        return self.begins + self.scene.lasts()

    def shown(self) -> Iterator[int]:
        """Yield which frame of the scene, from 0, each of its frames of the programme shows."""
        return (self.cadence.input_at(place) for place in range(self.length))

    def repeats(self) -> tuple[int, ...]:
        """Return how often each frame of the scene is shown, in order: its repeat pattern, written out."""
        counted = [0] * self.scene.frames
        for frame in self.shown():
            counted[frame] += 1
        return tuple(counted)


class Row(NamedTuple):
    """One frame of the programme: which scene it belongs to, by number, and which of the scene's frames it shows."""

    scene: int
    frame: int


def lay_out(scenes: Iterable[Scene], rate: Fraction) -> tuple[Laid, ...]:
    """Return each scene in its place in a programme of `rate` frames a second. Raises ValueError for a rate of 0."""
    laid: list[Laid] = []
    begins = Fraction(0)
    for scene in scenes:
        first, after = nearest_frame(begins, rate), nearest_frame(begins + scene.lasts(), rate)
        cadence = Cadence(scene.speed, rate, phase=first + HALF - begins * rate)
        laid.append(Laid(scene, begins, first, after - first, cadence))
        begins += scene.lasts()
    return tuple(laid)


def nearest_frame(seconds: Fraction, rate: Fraction) -> int:
    """Return the frame of the programme that begins nearest to `seconds`; of two as near, the earlier."""
    return ceil(seconds * rate - HALF)


def frame_list(laid: Iterable[Laid]) -> list[Row]:
    """Return what every frame of the programme shows, in order."""
    return [Row(number, frame) for number, each in enumerate(laid) for frame in each.shown()]
