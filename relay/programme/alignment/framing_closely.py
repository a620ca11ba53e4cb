"""The framing of one print against another to a tenth of a thumbnail pixel, from pictures of like tones.

Each pair of pictures may lie off by a push of its own (weave, or a walk that is late in a pan): the zoom is what they
have in common once that is taken out, and the push is the middle one of theirs.
"""

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import Floats, Framing, lens

_ROWS, _COLUMNS = 36, 48
_ROUNDS = 7
_SOFT_ROUNDS = 2
_AROUND = 4.0
_MOST_ZOOM, _MOST_PUSH = 0.25, 0.2


def closely_framed(one: Floats, other: Floats, start: Framing) -> Framing:
    """Return the framing of pictures `other` (n, high, wide) against `one`, which show the same, pair by pair."""
    framing = start
    for turn in range(_ROUNDS):
        width = 1.6 if turn < _SOFT_ROUNDS else 1.1
        inside = framing.is_inside(rows=_ROWS, columns=_COLUMNS) & Framing().is_inside(rows=_ROWS, columns=_COLUMNS)
        here, there = _evened(_seen(one, Framing(), width), _seen(other, framing, width), inside)
        framing = _stepped(here, there, _within(inside), framing)
    return framing


def _seen(pictures: Floats, framing: Framing, width: float) -> Floats:
    high, wide = pictures.shape[1:]
    down, across = framing.places(_ROWS, _COLUMNS)
    rows, columns = lens(down * high - 0.5, high, width * high / 48), lens(across * wide - 0.5, wide, width * wide / 64)
    return np.asarray(rows @ pictures @ columns.T, np.float32)


def _evened(one: Floats, other: Floats, inside: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return both without the mean of the surroundings, by the spread that both have there."""
    down, across = lens(np.arange(_ROWS), _ROWS, _AROUND), lens(np.arange(_COLUMNS), _COLUMNS, _AROUND).T
    share = np.where(inside, down @ inside.astype(np.float32) @ across, 1)
    apart = [(each - down @ (each * inside) @ across / share) * inside for each in (one, other)]
    spread = np.sqrt(sum(down @ (each * each) @ across / share for each in apart) / 2)
    return apart[0] / (spread + 3), apart[1] / (spread + 3)


def _within(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the pixels all of whose neighbours are inside too: only there is a slope one."""
    out = np.zeros_like(inside)
    core = inside[1:-1, 1:-1] & inside[:-2, 1:-1] & inside[2:, 1:-1] & inside[1:-1, :-2] & inside[1:-1, 2:]
    out[1:-1, 1:-1] = core
    return out


def _stepped(here: Floats, there: Floats, inside: NDArray[np.bool_], framing: Framing) -> Framing:
    if not inside.any():
        return framing
    middle = (here + there) / 2
    down, across = np.gradient(middle, axis=1) * _ROWS, np.gradient(middle, axis=2) * _COLUMNS
    rows = ((np.arange(_ROWS) + 0.5) / _ROWS - 0.5)[:, None]
    columns = ((np.arange(_COLUMNS) + 0.5) / _COLUMNS - 0.5)[None, :]
    slopes = np.stack([each[:, inside] for each in (down, across, down * rows, across * columns)], axis=1)
    apart = (here - there)[:, inside]
    weighed = slopes / (0.2 + np.abs(apart))[:, None, :]
    normal, pull = weighed @ slopes.transpose(0, 2, 1), (weighed @ apart[:, :, None])[:, :, 0]
    normal = normal.astype(np.float64)
    eye = (1e-3 * np.trace(normal[:, :2, :2], axis1=1, axis2=2) + 1e-6)[:, None, None] * np.eye(2)
    own = np.linalg.inv(normal[:, :2, :2] + eye)
    shared = (normal[:, 2:, 2:] - normal[:, 2:, :2] @ own @ normal[:, :2, 2:]).sum(axis=0)
    toward = (pull[:, 2:] - (normal[:, 2:, :2] @ own @ pull[:, :2, None])[:, :, 0]).sum(axis=0)
    zoom = np.linalg.solve(shared + (1e-3 * np.trace(shared) + 1e-6) * np.eye(2), toward)
    pushes = (own @ (pull[:, :2] - normal[:, :2, 2:] @ zoom)[:, :, None])[:, :, 0]
    to = np.clip(np.array(framing.zoom) + zoom, 1 - _MOST_ZOOM, 1 + _MOST_ZOOM)
    push = np.clip(np.array(framing.push) + np.median(pushes, axis=0), -_MOST_PUSH, _MOST_PUSH)
    return Framing((float(to[0]), float(to[1])), (float(push[0]), float(push[1])))
