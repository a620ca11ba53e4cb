"""A handful of frames beside a reel: too few to learn from how their print's pictures differ, so each speaks alone.

What a longer print tells by its motion and by all its shots together, a scrap of film cannot: its place is found, and
is never said to be sure.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import Framing, Grey, described
from relay.programme.alignment.registering import framing_between
from relay.programme.alignment.walking import NONE, Frames
from relay.programme.alignment.weighing import unit

FEW = 5  # frames
_SAME = 0.5
"""How alike pictures are at least that show the same: copies of photographs 0.8 to 1, of other shots up to 0.3
(`tests/bench/prints/filmed.py`'s copies, one frame at a time)."""
_OTHER = 0.35
_NEARLY = 0.05  # by so much less alike: nobody could tell
_MOST = 0.85
"""How likely the best place is held to be at most."""


class Few(NamedTuple):
    """For each of a few frames its place in the reel or NONE, with its chance, and whether neighbours look the same."""

    place: Frames
    chance: NDArray[np.float64]
    is_alike: NDArray[np.bool_]
    is_like: NDArray[np.bool_]
    """Of each of the reel's frames: whether one of the few looks like it."""

    def turned(self) -> "Few":
        """Return the same for each of the reel's frames."""
        at = np.flatnonzero(self.place != NONE)
        place, chance = np.full(len(self.is_like), NONE, np.int64), np.where(self.is_like, 0.5, 1.0)
        is_alike = np.zeros(len(place), bool)
        place[self.place[at]], chance[self.place[at]], is_alike[self.place[at]] = at, self.chance[at], self.is_alike[at]
        return Few(place, chance, is_alike, self.place != NONE)


def found_by_picture(few: Grey, reel: Grey, pins: Mapping[int, int]) -> Few:
    """Find each of `few` in `reel` by what it shows; `pins`, by index, bind."""
    alike = _alike(few, reel)
    place, chance, is_alike = np.full(len(few), NONE), np.zeros(len(few)), np.zeros(len(few), bool)
    for at, to in pins.items():
        place[at], chance[at] = to, 1.0
    for at in np.argsort(-alike.max(axis=1), kind="stable"):
        if at in pins:
            continue
        free = alike[at].copy()
        free[place[place != NONE]] = -1.0
        free[list(pins.values())] = -1.0
        best = _going_on(free, place, int(at))
        if free[best] < _SAME:
            chance[at] = 1.0 if alike[at].max() < _OTHER else 0.5
            continue
        place[at], chance[at] = best, min(_MOST, float(free[best]))
        beside = alike[at][[to for to in (best - 1, best + 1) if 0 <= to < len(reel)]]
        is_alike[at] = not len(beside) or bool((beside > alike[at][best] - _NEARLY).any())
    return Few(place, chance, is_alike, np.asarray((alike >= _OTHER).any(axis=0)))


def _going_on(alike: NDArray[np.float64], place: Frames, at: int) -> int:
    """Return the most alike place, or one that nobody could tell from it and that goes on where a neighbour lies."""
    best = int(np.argmax(alike))
    for beside in (at - 1, at + 1):
        if 0 <= beside < len(place) and place[beside] != NONE:
            to = int(place[beside]) + at - beside
            if 0 <= to < len(alike) and alike[to] > alike[best] - _NEARLY:
                return to
    return best


def _alike(few: Grey, reel: Grey) -> NDArray[np.float64]:
    """Return how alike each of `few` and each frame of `reel` are, in the framing that suits them best."""
    plain = _cosines(few, reel, Framing())
    framing = framing_between(few, reel[plain.argmax(axis=1)])
    framed = _cosines(few, reel, framing)
    return framed if framed.max(axis=1).mean() > plain.max(axis=1).mean() else plain


def _cosines(few: Grey, reel: Grey, framing: Framing) -> NDArray[np.float64]:
    inside = framing.is_inside() & Framing().is_inside()
    return np.asarray(unit(described(few, Framing(), inside)) @ unit(described(reel, framing, inside)).T, np.float64)
