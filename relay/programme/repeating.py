"""Frames that a print holds twice: the second shows what the first does, and is not lacking in the other print. Pure.

An alignment that goes through one print finds for each of its frames one of the other's; what the other holds twice is
left over there, and would pass for frames that the first lacks.
"""

import numpy as np
from numpy.typing import NDArray

from relay.model import every_frame
from relay.programme.framemap import FrameMap, Match, Way, runs_of

Frames = tuple[NDArray[np.int64], NDArray[np.uint8]]
"""Numbers, ascending, and a thumbnail (high, wide) of each."""
_STILL = 0.5
"""Of the usual step from frame to frame near it: two frames that differ by less are one frame, held twice."""
_NEAR = 8  # frames to either side
_CHANCE = 80  # percent, and never sure: a moment in which nothing moves looks the same


def with_repeats(found: FrameMap, one: Frames, other: Frames) -> FrameMap:
    """Return the map, in which what either print holds twice names the same frame of the other, never surely."""
    there, back = _repeated(found.there, *one), _repeated(found.back, *other)
    return FrameMap(found.one, found.other, there, back, found.by)


def _repeated(way: Way, numbers: NDArray[np.int64], grey: NDArray[np.uint8]) -> Way:
    lacking = list(every_frame(way.frames(matched=False)))
    places, steps = {int(number): at for at, number in enumerate(numbers)}, _Steps(grey)
    again: dict[int, Match] = {}
    for frame in (*lacking, *reversed(lacking)):  # forwards from one that was found, then backwards
        for beside in (frame - 1, frame + 1):
            match = again.get(beside) or way.at(beside)
            if frame in again or match is None or match.other is None:
                continue
            if steps.is_still(min(places[frame], places[beside])):
                again[frame] = match._replace(chance=min(match.chance, _CHANCE), sure=False)
    return Way(runs_of((frame, again.get(frame, match)) for frame, match in way.said()))


class _Steps:
    """How much each frame of a print differs from the next, each brought to the same light; found when asked for."""

    def __init__(self, grey: NDArray[np.uint8]) -> None:
        self._grey = grey
        self._known: dict[int, float] = {}

    def is_still(self, at: int) -> bool:
        """Answer whether frame `at` and the next differ far less than those around them do."""
        near = [self._step(each) for each in range(at - _NEAR, at + _NEAR + 1) if 0 <= each < len(self._grey) - 1]
        return len(near) > _NEAR and self._step(at) < _STILL * float(np.median(near))

    def _step(self, at: int) -> float:
        if at not in self._known:
            here, then = (each - each.mean() for each in self._grey[at : at + 2].astype(np.float32))
            self._known[at] = float(np.abs(then - here).mean())
        return self._known[at]
