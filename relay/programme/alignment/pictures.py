"""Thumbnails as numbers that two prints agree on: in one framing, each place measured against its surroundings.

Exposure, gamma, fading and shading change tones over a wide area; what is left after the mean and the spread of the
surroundings are taken out is what the lens saw.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Floats = NDArray[np.float32]

ROWS, COLUMNS = 24, 32
"""Of a described picture."""
LENS = 1.1
"""Width of the resampling kernel, in pixels of a 64 x 48 thumbnail."""
AROUND = 3.5
"""How wide the surroundings of a place are, in described pixels: one standard deviation."""
OVER = 4
_AT_ONCE = 500  # frames
_BLANK = 0.5
"""How a frame that shows nothing is described, all over: like another such frame, and like no picture."""


@dataclass(frozen=True)
class Framing:
    """How one print's picture lies against another's: zoom about the middle, then a push, in picture sizes."""

    zoom: tuple[float, float] = (1.0, 1.0)
    push: tuple[float, float] = (0.0, 0.0)
    """Down and across."""

    def places(self, rows: int = ROWS, columns: int = COLUMNS) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return where described rows and columns lie in the print, from 0 to 1."""
        down = (np.arange(rows) + 0.5) / rows - 0.5
        across = (np.arange(columns) + 0.5) / columns - 0.5
        return down * self.zoom[0] + 0.5 + self.push[0], across * self.zoom[1] + 0.5 + self.push[1]

    def is_inside(self, edge: float = 0.025, rows: int = ROWS, columns: int = COLUMNS) -> NDArray[np.bool_]:
        """Return which described pixels (rows, columns) the print shows, away from its edge."""
        down, across = (np.abs(each - 0.5) < 0.5 - edge for each in self.places(rows, columns))
        return np.outer(down, across)


def described(grey: Grey | Floats, framing: Framing, inside: NDArray[np.bool_]) -> Floats:
    """Return each frame (n, high, wide) as ROWS * COLUMNS numbers about 0; those outside `inside` are 0."""
    count, high, wide = grey.shape
    down, across = framing.places()
    lens_down, lens_across = lens(down * high - 0.5, high, LENS * high / 48), lens(
        across * wide - 0.5, wide, LENS * wide / 64
    ).T  # fmt: skip
    out = np.empty((count, ROWS * COLUMNS), np.float32)
    for start in range(0, count, _AT_ONCE):
        seen = lens_down @ grey[start : start + _AT_ONCE].astype(np.float32) @ lens_across
        out[start : start + len(seen)] = normalised(seen, inside).reshape(len(seen), -1)
    return out


def normalised(seen: Floats, inside: NDArray[np.bool_]) -> Floats:
    """Return frames (n, ROWS, COLUMNS) each place of which is measured against its surroundings; 0 outside `inside`.

    What lies outside is no part of the surroundings either: two prints show different things there.
    """
    share = np.where(inside, softened(inside.astype(np.float32), AROUND), 1)
    seen = np.asarray((seen - softened(seen * inside, AROUND) / share) * inside, np.float32)
    spread = np.sqrt(softened(seen * seen, AROUND) / share)
    usual = (
        np.median(spread[:, inside], axis=1)[:, None, None] if inside.any() else np.zeros((len(seen), 1, 1), np.float32)
    )
    seen = np.clip(seen / (spread + 1.5 + 0.3 * usual), -2, 2)
    return np.asarray((seen + _BLANK * np.exp(-(usual**2))) * inside, np.float32)


def outlines(pictures: Floats, over: int = OVER) -> Floats:
    """Return described frames at half the size, each of length 1: what tells shots apart, and little moves it.

    Each is the mean with `over` frames before and after it: dust, weave and boiling decay come and go.
    """
    frames = pictures.reshape(-1, ROWS, COLUMNS)
    soft = lens(np.arange(ROWS // 2) * 2 + 0.5, ROWS, 1.2), lens(np.arange(COLUMNS // 2) * 2 + 0.5, COLUMNS, 1.2).T
    small = np.concatenate(
        [(soft[0] @ frames[at : at + _AT_ONCE] @ soft[1]).reshape(-1, ROWS * COLUMNS // 4)
         for at in range(0, len(frames), _AT_ONCE)]
    )  # fmt: skip
    small = averaged(small, over)
    return np.asarray(small / (np.linalg.norm(small, axis=1, keepdims=True) + 1e-3), np.float32)


def averaged(small: Floats, over: int) -> Floats:
    """Return the mean of each row and those up to `over` before and after it."""
    total = np.concatenate([np.zeros((1, small.shape[1])), np.cumsum(small, axis=0, dtype=np.float64)])
    at = np.arange(len(small))
    first, end = np.maximum(at - over, 0), np.minimum(at + over + 1, len(small))
    return np.asarray((total[end] - total[first]) / (end - first)[:, None], np.float32)


def softened(frames: Floats, wide: float) -> Floats:
    """Return described pictures (..., ROWS, COLUMNS), each place the mean of those around it, `wide` places wide."""
    down, across = lens(np.arange(ROWS), ROWS, wide), lens(np.arange(COLUMNS), COLUMNS, wide)
    return np.asarray(down @ frames @ across.T)


def lens(places: NDArray[Any], count: int, width: float) -> Floats:
    weight = np.exp(-0.5 * ((np.clip(places, 0, count - 1)[:, None] - np.arange(count)) / width) ** 2)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True), np.float32)
