"""A sheet to draw one picture on: soft-edged shapes in tones from 0 (black) to 1 (white).

The sheet is 4 wide by 3 high: x runs from -4/3 at the left to 4/3, y from -1 at the bottom to 1 at the top.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Tones = NDArray[np.floating[Any]]
"""Rows by columns; single precision wherever it is a whole picture."""

Point = tuple[float, float]
Window = tuple[slice, slice]

LINES = 486
SAMPLES = LINES * 4 // 3
STEP = 2 / LINES
X: Tones = ((np.arange(SAMPLES, dtype=np.float32) + 0.5 - SAMPLES / 2) * np.float32(STEP))[np.newaxis, :]
Y: Tones = ((LINES / 2 - np.arange(LINES, dtype=np.float32) - 0.5) * np.float32(STEP))[:, np.newaxis]


def blurred(tones: Tones, passes: int) -> Tones:
    """Return `tones` averaged with their neighbours `passes` times."""
    for _ in range(passes):
        across = np.pad(tones, ((0, 0), (1, 1)), mode="edge")
        tones = _quarter_half_quarter(across[:, :-2], across[:, 1:-1], across[:, 2:])
        down = np.pad(tones, ((1, 1), (0, 0)), mode="edge")
        tones = _quarter_half_quarter(down[:-2], down[1:-1], down[2:])
    return tones


def _quarter_half_quarter(before: Tones, here: Tones, after: Tones) -> Tones:
    mean = before + after
    mean *= 0.5
    mean += here
    mean *= 0.5
    return mean


class Canvas:
    """One picture while it is drawn; what is drawn later lies on top."""

    def __init__(self, top: float, bottom: float) -> None:
        ramp = (Y + 1) / 2
        self.tones: Tones = np.repeat(bottom + (top - bottom) * ramp, SAMPLES, axis=1).astype(np.float32)

    def disc(self, centre: Point, radius: float, tone: float, soft: float = STEP) -> None:
        reach = radius + soft
        self._lay(_around(centre, reach), lambda x, y: np.hypot(x - centre[0], y - centre[1]) - radius, tone, soft)

    def ring(self, centre: Point, radius: float, half: float, tone: float) -> None:
        self._lay(
            _around(centre, radius + half + STEP),
            lambda x, y: np.abs(np.hypot(x - centre[0], y - centre[1]) - radius) - half,
            tone,
        )

    def rod(self, start: Point, end: Point, half: float, tone: float) -> None:
        """A stroke with round ends, `half` its thickness to each side."""

        def outside(x: Tones, y: Tones) -> Tones:
            dx, dy = end[0] - start[0], end[1] - start[1]
            along = ((x - start[0]) * dx + (y - start[1]) * dy) / max(dx * dx + dy * dy, 1e-9)
            along = np.clip(along, 0, 1)
            return np.hypot(x - start[0] - along * dx, y - start[1] - along * dy) - half

        self._lay(_box((start, end), half + STEP), outside, tone)

    def plate(self, corners: list[Point], tone: float) -> None:
        """A convex shape; its corners run against the clock."""

        def outside(x: Tones, y: Tones) -> Tones:
            edges = zip(corners, [*corners[1:], corners[0]], strict=True)
            sides = [
                ((x - a[0]) * (b[1] - a[1]) - (y - a[1]) * (b[0] - a[0])) / np.hypot(b[0] - a[0], b[1] - a[1])
                for a, b in edges
            ]
            farthest: Tones = np.maximum.reduce(sides)
            return farthest

        self._lay(_box(tuple(corners), STEP), outside, tone)

    def block(self, left: float, bottom: float, right: float, top: float, tone: float) -> None:
        self.plate([(left, bottom), (right, bottom), (right, top), (left, top)], tone)

    def below(self, curve: Tones, tone: float, crest: float | None = None) -> None:
        """Fill what lies under `curve`, a height for every column; `crest` is the tone at its upper edge."""
        rows = slice(_sample(1 - float(curve.max()) - STEP, LINES), LINES)
        part, depth = self.tones[rows], curve - Y[rows]
        ink: Tones | float = tone
        if crest is not None:
            ink = tone + (crest - tone) * np.exp(-22 * np.maximum(depth, 0))
        part += (ink - part) * np.clip(0.5 + depth / np.float32(STEP), 0, 1)

    def glow(self, centre: Point, radius: float, strength: float) -> None:
        """Add light that falls off from `centre`."""
        rows, columns = _around(centre, radius * 2.5)
        square = (X[:, columns] - centre[0]) ** 2 + (Y[rows] - centre[1]) ** 2
        self.tones[rows, columns] += np.float32(strength) * np.exp(-square / np.float32(radius * radius))

    def stamp(self, coverage: Tones, row: int, column: int, tone: float) -> None:
        """Lay `coverage` with its upper left sample at `row`, `column`."""
        part = self.tones[row : row + coverage.shape[0], column : column + coverage.shape[1]]
        part += (tone - part) * coverage[: part.shape[0], : part.shape[1]]

    def _lay(self, window: Window, outside: Callable[[Tones, Tones], Tones], tone: float, soft: float = STEP) -> None:
        """Blend `tone` in where `outside`, the distance from the shape's edge, is negative."""
        rows, columns = window
        part = self.tones[rows, columns]
        if part.size:
            part += (tone - part) * np.clip(0.5 - outside(X[:, columns], Y[rows]) / np.float32(soft), 0, 1)


def _around(centre: Point, reach: float) -> Window:
    return _box((centre,), reach)


def _box(points: tuple[Point, ...], reach: float) -> Window:
    """The rows and columns that hold all `points` and `reach` around them."""
    across, up = [p[0] for p in points], [p[1] for p in points]
    columns = slice(_sample(min(across) - reach + 4 / 3, SAMPLES), _sample(max(across) + reach + 4 / 3, SAMPLES) + 1)
    return slice(_sample(1 - max(up) - reach, LINES), _sample(1 - min(up) + reach, LINES) + 1), columns


def _sample(distance: float, most: int) -> int:
    return int(min(max(distance / STEP, 0), most))
