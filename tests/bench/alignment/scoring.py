"""Holds what was aligned against what is true. Frames of one still title look the same, and any of them is right."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.references.prints import Print, Source

Frames = NDArray[np.int64]


@dataclass(frozen=True)
class Score:
    exact: float
    """The share of frames whose match, or whose want of one, is right."""
    sure: float
    """The share of frames said to be sure."""
    sure_right: float
    gaps: int
    gaps_found: int
    """Of those of 6 frames and more."""
    ranges: float
    """F of missing ranges whose ends are within one frame."""

    def __str__(self) -> str:
        return (
            f"exact {self.exact:.4f} sure {self.sure:.3f} right {self.sure_right:.4f} "
            f"gaps {self.gaps_found}/{self.gaps} F {self.ranges:.3f}"
        )


def score(source: Source, one: Print, other: Print, frame: Frames, is_sure: NDArray[np.bool_]) -> Score:
    look, there = source.look(one.source), source.look(other.source)
    right = is_right(look, there, frame)
    truth = missing(look, one.source, other.source)
    lacks = _slid(frame < 0, look)
    told = _runs(lacks)
    true = _runs(_slid(truth, look))
    large = [run for run in true if run[1] - run[0] + 1 >= 6]
    found = sum(lacks[a : b + 1].mean() >= 0.5 for a, b in large)
    hits = sum(any(abs(a - c) <= 1 and abs(b - d) <= 1 for c, d in told) for a, b in true)
    told_right = sum(any(abs(a - c) <= 1 and abs(b - d) <= 1 for c, d in true) for a, b in told)
    recall, precision = hits / max(1, len(true)), told_right / max(1, len(told))
    return Score(
        float(right.mean()),
        float(is_sure.mean()),
        float(right[is_sure].mean()) if is_sure.any() else 1.0,
        len(large),
        int(found),
        2 * recall * precision / max(1e-9, recall + precision) if true or told else 1.0,
    )


def missing(look: Frames, one: Frames, other: Frames) -> NDArray[np.bool_]:
    """Return which frames the other print lacks; of a still run, the last ones."""
    return ~np.isin(one, other) if len(look) else np.zeros(0, bool)


def is_right(look: Frames, there: Frames, frame: Frames) -> NDArray[np.bool_]:
    matched = frame >= 0
    right = np.zeros(len(look), bool)
    right[matched] = look[matched] == there[frame[matched]]
    lacking = ~np.isin(look, there)
    right[~matched] = lacking[~matched]
    for still in np.unique(look[look < 0]):
        here = np.flatnonzero((look == still) & ~matched)
        allowed = max(0, int((look == still).sum()) - int((there == still).sum()))
        right[here[:allowed]] = True
    return right


def _slid(lacks: NDArray[np.bool_], look: Frames) -> NDArray[np.bool_]:
    """Return what is lacking, slid to the end of each still run: where in it, no picture tells."""
    out = lacks.copy()
    for still in np.unique(look[look < 0]):
        here = np.flatnonzero(look == still)
        count = int(lacks[here].sum())
        out[here] = False
        if count:
            out[here[-count:]] = True
    return out


def _runs(lacks: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], lacks, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
