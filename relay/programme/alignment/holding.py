"""Frames that a print holds for several, told from frames that the other print lacks."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.walking import NONE, Frames, Row

_TWICE = 2
"""A frame held once more is cheaper to repeat than to leave out, and three that are lacking are likelier than held."""
_HELD = 2.975
"""Nats a frame, of the 3 that one picture has: none of B may show its moment better."""


def held(walk: Frames, rows: Sequence[Row]) -> Frames:
    """Return a walk in which two frames of A that B seemed to lack are what is beside them, where they show it.

    So it is where B goes on from the frame before to the one after, and has none that is more like either.
    """
    out = walk.copy()
    for at in np.flatnonzero(_alone(walk)).tolist():
        before, after = walk[at - 1], walk[at + _TWICE]
        choices = ((before, before), (before, after), (after, after))
        told, best = max((_told(rows[at : at + _TWICE], choice), choice) for choice in choices)
        if told > _HELD * _TWICE:
            out[at : at + _TWICE] = best
    return out


def _alone(walk: Frames) -> NDArray[np.bool_]:
    """Return at which frames two without a match begin, between matches that follow each other."""
    alone = np.zeros(len(walk), bool)
    if len(walk) > _TWICE + 1:
        before, one, other, after = (walk[each : len(walk) - 3 + each] for each in range(4))
        alone[1:-2] = (before != NONE) & (one == NONE) & (other == NONE) & (after == before + 1)
    return alone


def _told(rows: Sequence[Row], frames: tuple[int, int]) -> float:
    return sum(_score(row, frame) for row, frame in zip(rows, frames, strict=True))


def _score(row: Row, frame: int) -> float:
    at = frame - row.low
    return float(row.scores[at]) if 0 <= at < len(row.scores) else -np.inf
