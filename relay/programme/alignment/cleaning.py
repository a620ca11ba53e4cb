"""Thumbnails without what the scene did not hold: lines that run down a frame, and what lies on one frame only."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import Floats, Grey

Tone = TypeVar("Tone", np.uint8, np.float32)

_BEND = 10.0
"""A column that differs from the two beside it by more, in the middle of all rows, is a scratch. In tones of 256."""
_EDGE = 0.6
"""At the edge a column is told by one side: that it bends counts for less, or a line beside it would pass for it."""
_SPARE = 30
"""Tones by which a place may leave the range of the frames before and after: weave and motion do not go farther."""
_NARROWEST = 3  # columns
_AT_ONCE = 500  # frames


def cleaned(grey: Grey) -> Grey:
    """Return frames (n, high, wide) without scratches one column wide, and without dust of a single frame."""
    return _dusted(_unscratched(grey))


def _unscratched(grey: Grey) -> Grey:
    if grey.shape[2] < _NARROWEST:
        return grey
    out = grey.copy()
    for start in range(0, len(grey), _AT_ONCE):
        frames = grey[start : start + _AT_ONCE].astype(np.float32)
        beside = _beside(frames)
        bend = np.abs(np.median(frames - beside, axis=1))
        bend[:, [0, -1]] *= _EDGE
        at, column = np.nonzero(_peaks(bend))
        out[start + at, :, column] = np.clip(np.rint(beside[at, :, column]), 0, 255)
    return out


def _beside(frames: Floats) -> Floats:
    """Return what the columns to either side of each say of it; of the outermost, how the two next to it go on."""
    out = np.empty_like(frames)
    out[:, :, 1:-1] = (frames[:, :, :-2] + frames[:, :, 2:]) / 2
    for edge, next_to_it, second in ((0, 1, 2), (-1, -2, -3)):
        out[:, :, edge] = 1.5 * frames[:, :, next_to_it] - 0.5 * frames[:, :, second]
    return out


def _peaks(bend: Floats) -> NDArray[np.bool_]:
    """Return the columns (frames, columns) that bend most of those beside them: a line bends its neighbours as well."""
    padded = np.pad(bend, ((0, 0), (1, 1)))
    return np.asarray((bend > _BEND) & (bend >= padded[:, :-2]) & (bend >= padded[:, 2:]))


def _dusted(grey: Grey) -> Grey:
    if len(grey) < 3:
        return grey
    low, high = shown_beside(grey)
    return np.clip(grey, np.maximum(low, _SPARE) - _SPARE, np.minimum(high, 255 - _SPARE) + _SPARE)


def shown_beside(frames: NDArray[Tone]) -> tuple[NDArray[Tone], NDArray[Tone]]:
    """Return the least and the most that each place shows in the frames before and after, of two frames or more.

    The first and the last have one beside them only.
    """
    before, after = np.concatenate([frames[1:2], frames[:-1]]), np.concatenate([frames[1:], frames[-2:-1]])
    return np.minimum(before, after), np.maximum(before, after)
