"""Two prints made comparable once a walk is known: like tones, no weave, no dust of a single frame."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.cleaning import shown_beside
from relay.programme.alignment.pictures import (
    COLUMNS,
    LENS,
    ROWS,
    Floats,
    Framing,
    Grey,
    averaged,
    normalised,
    softened,
)
from relay.programme.alignment.walking import NONE, Frames
from relay.programme.alignment.weighing import shots_of

_ROUNDS = 3
_OVER = 4
_LINE, _SHORTEST = 11, 5  # frames
_AT_ONCE = 500
_GAP = 3  # frames
_FARTHEST = 3.0
"""Thumbnail pixels: weave does not go farther."""
_LONGEST = 400  # frames of a shot that are held against their own median
_PARTS, _MOVED = 4, 0.1
"""Where no part of a shot differs from all of it by more, in the middle of all places, the camera stands still."""
_WIDE, _GROUND = 1.2, 0.7
"""Places around which frames differ as much as usual, times this, count half: of actors and stains little is left."""
_STAIN_WIDE = 2.0
_LIGHT = 0.85
"""The share of a shot's frames in which a place is no lighter than it is without a stain."""
_DARKER = 0.15
"""A place that is darker than that by this share counts half."""
_BLACK = 8.0  # of 255: in the dark, grain makes no stain


class Steadied(NamedTuple):
    """A print made comparable, and how far it shows the scene."""

    pictures: Floats
    """Described frames (n, ROWS * COLUMNS)."""
    clear: Floats
    """Of each of their places, 0 to 1: little where it is stained. 1 where the camera moves, since nobody can say."""


def tones(one: Grey, other: Grey, walk: Frames, framing: Framing) -> tuple[Floats, Floats]:
    """Return what each of 256 tones of either print stands for, so that frames of the walk have the same tones."""
    known = np.flatnonzero(walk != NONE)
    some = known[np.linspace(0, len(known) - 1, min(600, len(known))).astype(int)] if len(known) else known
    if not len(some):
        return np.arange(256, dtype=np.float32), np.arange(256, dtype=np.float32)
    parts = np.linspace(0, 1, 513)[1::2]
    shares = [
        _shares(grey, at, framings)
        for grey, at, framings in (
            (one, some, (Framing(), framing)),
            (other, walk[some], (framing, Framing())),
        )
    ]
    shared = sum(np.interp(parts, share, np.arange(256)) for share in shares) / 2
    told = [np.interp(share, parts, shared).astype(np.float32) for share in shares]
    return told[0], told[1]


def _shares(grey: Grey, at: Frames, framings: tuple[Framing, Framing]) -> NDArray[np.float64]:
    """Return what share of the pixels in both framings is darker than each tone, half of its own included."""
    high, wide = grey.shape[1:]
    down, across = framings[0].places()
    rows, columns = (
        np.clip(np.rint(each * n - 0.5), 0, n - 1).astype(int) for each, n in ((down, high), (across, wide))
    )
    inside = framings[0].is_inside() & framings[1].is_inside()
    seen = grey[at][:, rows][:, :, columns][:, inside].ravel()
    count = np.bincount(seen, minlength=256) / max(1, len(seen))
    return np.asarray(np.cumsum(count) - count / 2)


def _seen(grey: Grey, framing: Framing, weave: Floats) -> Floats:
    """Return frames (n, ROWS, COLUMNS) in their framing; `weave` (n, 2) in thumbnail pixels is taken out."""
    count, high, wide = grey.shape
    down, across = framing.places()
    out = np.empty((count, ROWS, COLUMNS), np.float32)
    for start in range(0, count, _AT_ONCE):
        part = slice(start, min(start + _AT_ONCE, count))
        rows = _lenses(down * high - 0.5, weave[part, 0], high, LENS * high / 48)
        columns = _lenses(across * wide - 0.5, weave[part, 1], wide, LENS * wide / 64)
        out[part] = rows @ grey[part].astype(np.float32) @ columns.transpose(0, 2, 1)
    return out


def _lenses(places: NDArray[np.float64], push: Floats, count: int, width: float) -> Floats:
    at = np.clip(places[None, :] + push[:, None], 0, count - 1).astype(np.float32)
    weight = np.exp(-0.5 * ((at[:, :, None] - np.arange(count, dtype=np.float32)) / np.float32(width)) ** 2)
    return np.asarray(weight / weight.sum(axis=2, keepdims=True), np.float32)


def _cleaned(seen: Floats) -> Floats:
    """Return frames without what is neither in the frame before nor in the one after."""
    if len(seen) < 3:
        return seen
    low, high = shown_beside(seen)
    spare = 3 * np.median(np.abs(seen[1:] - seen[:-1])) + 1
    return np.asarray(np.clip(seen, low - spare, high + spare), np.float32)


def breaks(walk: Frames) -> tuple[Frames, Frames]:
    """Return before which frames of A and of B either print lacks some that the other has, as a walk says.

    Both are cut up alike: a frame beside a gap has neighbours on one side only, and so has its match.
    """
    here = np.flatnonzero(walk != NONE)
    there = walk[here]
    on, on_there = np.diff(here), np.diff(there)
    gaps = np.flatnonzero((np.abs(on - on_there) >= _GAP) & (on_there > 0))
    beside, beside_there = (np.unique(np.concatenate([each[gaps] + 1, each[gaps + 1]])) for each in (here, there))
    return beside, beside_there


def steadied(grey: Grey, framing: Framing, broken: Frames, inside: NDArray[np.bool_]) -> Steadied:
    """Describe a print with weave taken out, as far as its shots show it.

    Where the camera stands still, a frame is held against all of its shot, else against its neighbours, but for those
    beyond where the shot is `broken`.
    """
    size = np.array(grey.shape[1:], np.float32)
    weave = np.zeros((len(grey), 2), np.float32)
    seen = _flat(_seen(grey, framing, weave), inside)
    still, moving = _parts(seen, broken, inside)
    for turn in range(_ROUNDS):
        for part in still:
            weave[part] += _shifts_on_ground(seen[part], inside) * size
            weave[part] -= np.median(weave[part], axis=0)
        for part in moving:
            weave[part] = _rough_part(weave[part] + (_shifts(seen[part], inside) * size).astype(np.float32))
        weave = np.clip(weave, -_FARTHEST, _FARTHEST)
        if turn < _ROUNDS - 1:
            seen = _flat(_seen(grey, framing, weave), inside)
    lit = _seen(grey, framing, weave)
    return Steadied(_flat(_cleaned(lit), inside), _clear(lit, still, inside))


def _parts(seen: Floats, broken: Frames, inside: NDArray[np.bool_]) -> tuple[list[slice], list[slice]]:
    """Return the shots in which the camera stands still, and the unbroken pieces of all others."""
    still, moving = [], []
    for shot in shots_of(seen, _LONGEST):
        if _stands_still(seen[slice(*shot)], inside):
            still.append(slice(*shot))
        else:
            moving += [slice(*piece) for piece in _pieces(shot, broken)]
    return still, moving


def _clear(lit: Floats, still: Sequence[slice], inside: NDArray[np.bool_]) -> Floats:
    """Return how far each place (n, ROWS * COLUMNS) is clear of stains: by how much darker it is than in its shot."""
    clear = np.ones((len(lit), ROWS * COLUMNS), np.float32)
    if not inside.any():
        return clear
    for shot in still:
        light = (softened(lit[shot], _STAIN_WIDE) + _BLACK).reshape(-1, ROWS * COLUMNS)
        light = _exposed_alike(light, inside)
        light = _exposed_alike(light / np.quantile(light, _LIGHT, axis=0), inside)
        clear[shot] = 1 / (1 + (np.maximum(1 - light, 0) / _DARKER) ** 2)
    return clear


def _exposed_alike(light: NDArray[np.floating], inside: NDArray[np.bool_]) -> Floats:
    return np.asarray(light / np.median(light[:, inside.ravel()], axis=1, keepdims=True), np.float32)


def _pieces(shot: tuple[int, int], broken: Frames) -> Iterator[tuple[int, int]]:
    first, end = shot
    return pairwise([first, *broken[(broken > first) & (broken < end)].tolist(), end])


def _stands_still(shot: Floats, inside: NDArray[np.bool_]) -> bool:
    if len(shot) < _SHORTEST * _PARTS:
        return False
    whole = np.median(shot, axis=0)
    moved = [np.abs(part.mean(axis=0) - whole)[inside.ravel()] for part in np.array_split(shot, _PARTS)]
    return max(float(np.median(each)) for each in moved) < _MOVED


def _rough_part(weave: Floats) -> Floats:
    """Return weave without what a pan goes on by: near a gap or a cut, neighbours are on one side only."""
    wide = min(_LINE, len(weave) - 1 + len(weave) % 2)
    if wide < _SHORTEST:
        return np.zeros_like(weave)
    from scipy.signal import savgol_filter  # a second to load: no command that aligns nothing waits for it

    return np.asarray(weave - savgol_filter(weave, wide, 1, axis=0), np.float32)


def _flat(seen: Floats, inside: NDArray[np.bool_]) -> Floats:
    return normalised(seen, inside).reshape(len(seen), -1)


def _shifts(seen: Floats, inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    mean = averaged(seen, _OVER).reshape(-1, ROWS, COLUMNS)
    down, across = np.gradient(mean, axis=1) * ROWS, np.gradient(mean, axis=2) * COLUMNS
    slopes = np.stack([down, across])[:, :, inside]
    apart = (mean - seen.reshape(mean.shape))[:, inside]
    weight = 1 / (0.3 + np.abs(apart))
    normal = np.einsum("anp,bnp,np->nab", slopes, slopes, weight, optimize=True)
    pull = np.einsum("anp,np,np->na", slopes, apart, weight, optimize=True)
    normal += (1e-2 * np.trace(normal, axis1=1, axis2=2) + 1e-6)[:, None, None] * np.eye(2)
    return np.linalg.solve(normal, pull[:, :, None])[:, :, 0]


def _shifts_on_ground(shot: Floats, inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return how far each frame lies off the shot's median, in picture sizes; actors and stains count little."""
    ground = np.median(shot, axis=0)
    slopes = np.stack([each[inside] for each in np.gradient(ground.reshape(ROWS, COLUMNS))])
    slopes *= np.array([[ROWS], [COLUMNS]], np.float32)
    squares = np.stack([slopes[0] ** 2, slopes[0] * slopes[1], slopes[1] ** 2], axis=1)
    apart = (ground - shot)[:, inside.ravel()]
    shifts = np.zeros((len(shot), 2))
    for _ in range(_ROUNDS):
        weight = _of_ground(apart - shifts.astype(np.float32) @ slopes, inside)
        down, both, across = (weight @ squares).astype(np.float64).T
        more = 1e-3 * (down + across) + 1e-6
        pull, drag = ((weight * apart) @ slopes.T).astype(np.float64).T
        down, across = down + more, across + more
        shifts = np.stack([across * pull - both * drag, down * drag - both * pull], axis=1)
        shifts /= (down * across - both * both)[:, None]
    return shifts


def _of_ground(apart: Floats, inside: NDArray[np.bool_]) -> Floats:
    """Return how much each place of a frame counts: it lies on the ground if it and those around it differ little."""
    far = np.abs(apart)
    frames = np.zeros((len(apart), ROWS, COLUMNS), np.float32)
    frames[:, inside] = far
    around = softened(frames, _WIDE)[:, inside]
    usual, widely = (np.median(each, axis=1, keepdims=True) + 1e-3 for each in (far, around))
    return np.asarray(1 / (1 + (around / (_GROUND * widely)) ** 2) ** 2 / (1 + (far / (2 * usual)) ** 2), np.float32)
