"""Which moment of a shot a frame shows, place by place: what is torn in one place counts no more there than a limit."""

import numpy as np

from relay.programme.alignment.pictures import Floats
from relay.programme.alignment.walking import Frames

_TORN = 0.5
"""Places that differ by more are dust, scratches or decay, and count no more than this."""
_SHARP = 30.0
"""Nats for a distance that is twice what one picture printed twice has."""
_DULLEST, _SHARPEST = 25.0, 50.0
_BLOCK, _FEW_BLOCKS = 10, 4
_MOST, _LEAST = 1.0, -2.5
"""Nats that one pair of frames can speak for and against the same moment: one torn frame is no gap."""


def moments(here: Floats, there: Floats, walk: Frames, bounds: tuple[Frames, Frames], same: Floats) -> list[Floats]:
    """Return nats for each frame of a shot of A against frames of B, by how much more they differ than they must.

    What both frames differ in anyhow, torn or dusty, is told by the frame of the other that is nearest to either.
    """
    seen = np.flatnonzero(np.any(here, axis=0))
    here, there = here[:, seen], there[:, seen]
    spans = [slice(a, b) for a, b in zip(*bounds, strict=True)]
    apart = [np.minimum(np.abs(there[span] - each), _TORN).sum(axis=1) for each, span in zip(here, spans, strict=True)]
    column = np.full(len(there), np.inf, np.float32)
    for each, span in zip(apart, spans, strict=True):
        np.minimum(column[span], each, out=column[span])
    alike = [same[at, span] for at, span in enumerate(spans)]
    least = np.array([_least(each, likely) for each, likely in zip(apart, alike, strict=True)])
    usual = max(float(np.median(least)), 0.01 * max(1, len(seen)))
    must = [np.maximum(own, np.minimum(column[span], 1.5 * usual)) for own, span in zip(least, spans, strict=True)]
    met = [(at, to - spans[at].start) for at, to in enumerate(walk) if spans[at].start <= to < spans[at].stop]
    gap = float(np.median([apart[at][to] - must[at][to] for at, to in met])) if met else 0.0
    sharp = _sharpness(apart, met, usual + gap)
    more = [(each - floor - gap) * sharp for each, floor in zip(apart, must, strict=True)]
    return [
        np.clip(-each, _LEAST, np.where(likely > 0, _MOST, 0)).astype(np.float32)
        for likely, each in zip(alike, more, strict=True)
    ]


def _sharpness(apart: list[Floats], met: list[tuple[int, int]], usual: float) -> float:
    """Return nats for each unit of distance: as many as make what is seen in block after block of a shot honest.

    The evidence for one frame against its neighbour, summed over a block, would vary by twice its mean if it were a
    log of odds; what errors of neighbouring frames have in common shows as more.
    """
    means, spreads = [], []
    for late in (-2, -1, 1, 2):
        margin = np.array([apart[at][to + late] - apart[at][to] for at, to in met if 0 <= to + late < len(apart[at])])
        blocks = len(margin) // _BLOCK
        if blocks < _FEW_BLOCKS:
            return _SHARP / usual
        sums = margin[: blocks * _BLOCK].reshape(blocks, _BLOCK).sum(axis=1)
        means.append(sums.mean())
        spreads.append(sums.var(ddof=1))
    honest = 2 * sum(means) / max(sum(spreads), 1e-9)
    return float(np.clip(honest, _DULLEST / usual, _SHARPEST / usual))


def _least(apart: Floats, same: Floats) -> float:
    return float(apart[same > 0].min() if (same > 0).any() else apart.min())
