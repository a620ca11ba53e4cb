"""The best walk through two prints: which frame of B each frame of A shows, or none. Values only.

A walk goes on by one frame of both, stays where A repeats, skips what A lacks, says "none" where B lacks, and may jump
anywhere, which costs most: a shot was moved.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Frames = NDArray[np.int64]

NONE = -1
AT_CUT, NEAR_CUT, FAR = 0, 1, 2
_FROM_NONE, _REPEAT, _SKIP, _JUMP = 1, 2, 3, 4
_STEP, _IS_PEAK, _PEAK_IS_NONE, _NONE_OPENS = 7, 8, 16, 32
_NEVER = np.float32(-1e9)


@dataclass(frozen=True)
class Costs:
    """What each departure from frame against frame costs, in the scores' own units: nats, or chances."""

    repeat: float
    skip: float
    skip_on: float
    """For each further frame of B."""
    none: float
    none_on: float
    jump: float


@dataclass(frozen=True)
class Row:
    """Scores of one frame of A against frames `low` and following of B."""

    low: int
    scores: Floats
    from_cut: int = FAR
    """0 where A's frame is the first of a shot, 1 where it is one of the last before a cut."""


def best_walk(rows: Iterator[Row], count: int, costs: tuple[Costs, Costs, Costs]) -> Frames:
    """Return for each of `count` frames of A the frame of B, or NONE. `costs` are those at a cut, near, elsewhere."""
    steps: list[tuple[int, NDArray[np.uint8]]] = []
    jumps: list[tuple[int, bool]] = []
    match, none, low = np.zeros(0, np.float32), np.zeros(0, np.float32), 0
    for at, row in enumerate(rows):
        if at == 0:
            match, low = row.scores, row.low
            none = np.full(len(match), -costs[0].none, np.float32)
            steps.append((low, np.full(len(match), _NONE_OPENS, np.uint8)))
            jumps.append((low, False))
            continue
        jumps.append(_peak(match, none, low))
        match, none, step = _walked(*_moved(match, none, low, row), row, costs[row.from_cut])
        low = row.low
        steps.append((low, step))
    return _traced(steps, jumps, match, none, count)


def _peak(match: Floats, none: Floats, low: int) -> tuple[int, bool]:
    one, other = int(match.argmax()), int(none.argmax())
    return (low + other, True) if none[other] > match[one] else (low + one, False)


def _moved(match: Floats, none: Floats, low: int, row: Row) -> tuple[Floats, Floats, np.float32]:
    """Return the last states over the new row's columns and the one before them, and the best of all."""
    best = max(match.max(), none.max())
    wide, shift = len(row.scores) + 1, low - (row.low - 1)
    if shift == 1 and len(match) == wide - 1:
        pad = np.full(1, _NEVER, np.float32)
        return np.concatenate([pad, match]), np.concatenate([pad, none]), best
    out = np.full((2, wide), _NEVER, np.float32)
    first, last = max(0, shift), min(wide, shift + len(match))
    if last > first:
        out[0, first:last] = match[first - shift : last - shift]
        out[1, first:last] = none[first - shift : last - shift]
    return out[0], out[1], best


def _walked(
    match: Floats, none: Floats, best: np.float32, row: Row, costs: Costs
) -> tuple[Floats, Floats, NDArray[np.uint8]]:
    """Take one step. `match` and `none` begin one column before the row."""
    width = len(row.scores)
    rise = _rise(width + 1, costs.skip_on)
    both = np.maximum(match, none)
    lifted = both + rise
    peak = np.maximum.accumulate(lifted)
    value = np.maximum(match[:-1], none[:-1])
    step = (none[:-1] > match[:-1]).astype(np.uint8)
    _take(value, step, match[1:] - np.float32(costs.repeat), _REPEAT)
    skipped = np.full(width, _NEVER, np.float32)
    skipped[1:] = peak[: width - 1] - rise[1:width] - np.float32(costs.skip)
    _take(value, step, skipped, _SKIP)
    _take(value, step, best - np.float32(costs.jump), _JUMP)
    value += row.scores
    opened = match[1:] - np.float32(costs.none)
    going = none[1:] - np.float32(costs.none_on)
    step |= np.where(opened > going, np.uint8(_NONE_OPENS), np.uint8(0))
    step |= np.where(lifted[1:] >= peak[1:], np.uint8(_IS_PEAK), np.uint8(0))
    step |= np.where(none[1:] > match[1:], np.uint8(_PEAK_IS_NONE), np.uint8(0))
    return value, np.maximum(opened, going), step


@lru_cache(maxsize=256)
def _rise(width: int, skip_on: float) -> Floats:
    """Return what skipping costs from the first column on. Shared: not to be written to."""
    return np.arange(width, dtype=np.float32) * np.float32(skip_on)


def _take(value: Floats, step: NDArray[np.uint8], other: Floats | np.float32, code: int) -> None:
    better = other > value
    np.copyto(value, other, where=better)
    np.putmask(step, better, np.uint8(code))


def _traced(
    steps: list[tuple[int, NDArray[np.uint8]]], jumps: list[tuple[int, bool]], match: Floats, none: Floats, count: int
) -> Frames:
    found = np.full(count, NONE, np.int64)
    if count == 0 or not len(match):
        return found
    low = steps[-1][0]
    frame, is_none = _peak(match, none, low)
    for at in range(count - 1, -1, -1):
        low, step = steps[at]
        if not is_none:
            found[at] = frame
        if at == 0:
            break
        frame, is_none = _before(frame, is_none, low, step, jumps[at])
    return found


def _before(frame: int, is_none: bool, low: int, step: NDArray[np.uint8], jump: tuple[int, bool]) -> tuple[int, bool]:
    code = int(step[frame - low])
    if is_none:
        return frame, not code & _NONE_OPENS
    match code & _STEP:
        case 0:
            return frame - 1, False
        case 1:
            return frame - 1, True
        case 2:
            return frame, False
        case 3:
            peaks = np.flatnonzero(step[: max(0, frame - 1 - low)] & _IS_PEAK)
            if not len(peaks):
                return low - 1, bool(step[0] & _PEAK_IS_NONE)
            return low + int(peaks[-1]), bool(step[peaks[-1]] & _PEAK_IS_NONE)
        case _:
            return jump
