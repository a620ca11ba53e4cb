"""How one print's frame lies against another's: crop, shrinkage and framing, from frames that surely show the same."""

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import COLUMNS, ROWS, Floats, Framing, Grey, described

_ROUNDS = 8
_EDGE = 0.07
"""Of the picture: what lies outside it would be held for its surroundings."""
_MOST_ZOOM, _MOST_PUSH = 0.25, 0.2


def framing_between(one: Grey | Floats, other: Grey | Floats, start: Framing | None = None) -> Framing:
    """Return the framing of `other` against `one`, which show the same pictures, frame by frame.

    Gauss-Newton on what is described, softened at first unless it goes on from `start`. The framing stays as it is
    where nothing fits better.
    """
    whole = np.ones((ROWS, COLUMNS), bool)
    here = described(one, Framing(), whole)
    best, likeness = start or Framing(), -1.0
    framing = best
    for turn in range(_ROUNDS):
        inside = framing.is_inside(_EDGE) & Framing().is_inside(_EDGE)
        there = described(other, framing, whole)
        alike = _likeness(here, there, inside)
        if alike > likeness:
            best, likeness = framing, alike
        framing = _bettered(here, there, inside, framing, 2.0 if start is None and turn < _ROUNDS // 2 else 0.0)
    return best


def _likeness(here: Floats, there: Floats, inside: NDArray[np.bool_]) -> float:
    one, other = here[:, inside.ravel()], there[:, inside.ravel()]
    length = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
    return float(np.median((one * other).sum(axis=1) / (length + 1e-6)))


def _bettered(here: Floats, there: Floats, inside: NDArray[np.bool_], framing: Framing, soft: float) -> Framing:
    one, other = (_softened(each.reshape(-1, ROWS, COLUMNS), soft) for each in (here, there))
    down, across = np.gradient(other, axis=1) * ROWS, np.gradient(other, axis=2) * COLUMNS
    rows = ((np.arange(ROWS) + 0.5) / ROWS - 0.5)[:, None]
    columns = ((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5)[None, :]
    slopes = np.stack([down, across, down * rows, across * columns])[:, :, inside]
    apart = (one - other)[:, inside]
    weight = 1 / (0.3 + np.abs(apart))
    normal = np.einsum("anp,bnp,np->ab", slopes, slopes, weight, optimize=True)
    pull = np.einsum("anp,np,np->a", slopes, apart, weight, optimize=True)
    step = np.linalg.solve(normal + (1e-3 * np.trace(normal) + 1e-6) * np.eye(4), pull)
    zoom = np.clip(np.array(framing.zoom) + step[2:], 1 - _MOST_ZOOM, 1 + _MOST_ZOOM)
    push = np.clip(np.array(framing.push) + step[:2], -_MOST_PUSH, _MOST_PUSH)
    return Framing((float(zoom[0]), float(zoom[1])), (float(push[0]), float(push[1])))


def _softened(pictures: Floats, width: float) -> Floats:
    if width == 0:
        return pictures
    from scipy.ndimage import gaussian_filter

    return np.asarray(gaussian_filter(pictures, (0, width, width)), np.float32)
