"""Which moment of a shot a frame shows, place by place: those count that move alike in both prints.

What is torn in one place counts no more there than a limit. A frame that is torn all over differs from every frame of
the other print: only what two frames differ by beyond that tells one moment from another.
"""

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import COLUMNS, ROWS, Floats, averaged, softened
from relay.programme.alignment.steadying import Steadied
from relay.programme.alignment.walking import Frames, Row
from relay.programme.alignment.weighing import FARTHEST, Likeness, Shot, Stretch, stretches

Doubles = NDArray[np.float64]
_WAVES = ((5.0, 1.0), (2.5, 0.5))
"""A difference d costs the sum of (part / wave)^2 (1 - cos wave d): as d^2 while small, and no more where torn."""
_LONGEST_SHOT = 400  # frames
_CALM = 2  # frames to either side
_FEW = 5
_TORN = 0.5
_BESIDE = 0.7  # places around one that change with it
_STILL = 0.9
"""How much more than flicker alone a place must change."""
_AGREED, _WHOLLY = 0.25, 0.5
"""Where changes of a shot agree less than the one, only weave moves it; more than the other, all is action."""
_LEAST_CLEAR = 0.02
"""Two frames of which less is clear in both are told by no more than that."""
_FLUKES = 1
_BLOCKS, _FEW_BLOCKS = 6, 3
_SHORTEST, _LONGEST = 4, 10  # frames of a block
_LEANING = 0.6
_PLAIN = 8.0
"""Nats for a difference as large as what two pictures of one moment have, where a shot is too short to tell."""
_DULLEST, _SHARPEST = 1.0, 60.0
_MOST, _LEAST = 1.0, -2.5
"""Nats that one pair of frames can speak for and against the same moment: one torn frame is no gap."""


def placed(
    one: Steadied,
    other: Steadied,
    walk: Frames,
    bounds: tuple[Frames, Frames],
    alike: Likeness,
) -> list[Row]:
    """Score frame i of `one` against frames bounds[0][i] up to bounds[1][i] of `other`, near what a walk found."""
    rows: list[Row] = []
    for part in stretches(one.pictures, other.pictures, walk, bounds, alike, _LONGEST_SHOT):
        clear = _part(one.clear, part.first, part.here), _part(other.clear, part.left, part.there)
        told = _moments(part, clear)
        score = Shot(part, is_close=True).score if told is None else np.maximum(part.same + told, -FARTHEST)
        rows += part.rows(score)
    return rows


def _part(clear: Floats, first: int, pictures: Floats) -> Floats:
    return clear[first : first + len(pictures)]


def _moments(part: Stretch, clear: tuple[Floats, Floats]) -> Floats | None:
    """Return nats for the same moment (of here, of there), or None where nothing moves in both: titles, other shots."""
    here, there, walk, same = part.here, part.there, part.walk, part.same
    worth, agreed = _liveliness(here, there[_shown(walk, len(there))]), _agreement(here, there, walk)
    whole = float(worth @ agreed / max(float(worth.sum()), 1e-9))
    trust = float(np.clip((whole - _AGREED) / (_WHOLLY - _AGREED), 0, 1))
    if trust == 0:
        return None
    apart = _apart(here, there, worth * np.sqrt(np.maximum(agreed, 0)), clear)
    least = _least(apart.T)
    usual = float(np.median(least))
    more = _beyond(apart, least, usual)
    rows = np.flatnonzero((walk >= 0) & (walk < len(there)))
    sharp = _sharpness(more, rows, walk[rows], usual + 1e-6)
    told = -(more - np.median(more[rows, walk[rows]])) * sharp
    return np.asarray(trust * np.clip(told, _LEAST, np.where(same > 0, _MOST, 0)), np.float32)


def _shown(walk: Frames, count: int) -> slice:
    met = walk[(walk >= 0) & (walk < count)]
    if not len(met):
        return slice(0, count)
    low, high = np.quantile(met, (0.02, 0.98)).astype(int)
    return slice(int(low), int(high) + 1)


def _liveliness(one: Floats, other: Floats) -> Floats:
    """Return the worth of each place: how much it changes in both prints, slowly, against what flickers there.

    It does not ask which frame is which, so that it cannot confirm a walk's errors.
    """
    moved = softened(np.minimum(_changes(one), _changes(other)).reshape(ROWS, COLUMNS), _BESIDE).ravel()
    flicker = np.sqrt((_flickers(one) ** 2 + _flickers(other) ** 2) / 2) + 0.02
    worth = np.sqrt(np.maximum((moved / flicker) ** 2 - _STILL**2, 0))
    worth *= np.any(one, axis=0) & np.any(other, axis=0)
    return np.asarray(worth / max(float(worth.sum()), 1e-9), np.float32)


def _changes(shot: Floats) -> Floats:
    low, high = np.quantile(averaged(shot, _CALM), (0.25, 0.75), axis=0)
    return np.asarray(high - low, np.float32)


def _flickers(shot: Floats) -> Floats:
    if len(shot) < 3:
        return np.zeros(shot.shape[1], np.float32)
    bends = shot[2:] - 2 * shot[1:-1] + shot[:-2]
    return np.asarray(np.median(np.abs(bends), axis=0) / (0.6745 * 6**0.5), np.float32)


def _agreement(one: Floats, other: Floats, walk: Frames) -> Floats:
    """Return for each place how its changes agree, -1 to 1, in frames that a walk says are the same."""
    rows = np.flatnonzero((walk >= 0) & (walk < len(other)))
    if len(rows) < 2 * _FEW:
        return np.zeros(one.shape[1], np.float32)
    here, there = (_centred(each) for each in (averaged(one, _CALM)[rows], averaged(other, _CALM)[walk[rows]]))
    size = np.sqrt((here * here).sum(axis=0) * (there * there).sum(axis=0) + 1e-9)
    return np.asarray((here * there).sum(axis=0) / size, np.float32)


def _centred(shot: Floats) -> Floats:
    return np.asarray(np.clip(shot - np.median(shot, axis=0), -_TORN, _TORN), np.float32)


def _apart(one: Floats, other: Floats, worth: Floats, clear: tuple[Floats, Floats]) -> Doubles:
    """Return how far frames differ (of one, of other) where both are clear of stains."""
    seen = np.flatnonzero(worth)
    root = np.sqrt(worth[seen])
    clear_here, clear_there = (each[:, seen] for each in clear)
    here, there = _waves(one[:, seen], root, clear_here), _waves(other[:, seen], root, clear_there)
    share = (clear_here * worth[seen]) @ clear_there.T / max(float(worth.sum()), 1e-9)
    most = float(worth.sum()) * sum((part / wave) ** 2 for wave, part in _WAVES)
    return np.asarray(most - here @ there.T / np.maximum(share, _LEAST_CLEAR), np.float64)


def _waves(pictures: Floats, root: Floats, clear: Floats) -> Floats:
    return np.concatenate(
        [
            turn(np.float32(wave) * pictures) * (root * np.float32(part / wave)) * clear
            for wave, part in _WAVES
            for turn in (np.cos, np.sin)
        ],
        axis=1,
    )


def _beyond(apart: Doubles, least: Doubles, usual: float) -> Doubles:
    """Return distances without what either frame differs in from all others of the shot, `least` of each of one."""
    more = apart - least[:, None]
    more = more - np.clip(_least(more), 0, usual)[None, :]
    return np.asarray(more - more.min(axis=1)[:, None], np.float64)


def _least(columns: Doubles) -> Doubles:
    """Return of each column the least value but a few: the least may be so by chance."""
    but = min(_FLUKES, len(columns) - 1)
    return np.asarray(np.partition(columns, but, axis=0)[but], np.float64)


def _sharpness(more: Doubles, rows: Frames, to: Frames, usual: float) -> float:
    """Return nats for each unit of distance: as many as make what is seen in block after block of a shot honest.

    What speaks for the frame before against the frame after has no mean where a walk is right, and would, were it a
    log of odds, vary from block to block by as much as twice what speaks for the frame itself. Its own mean counts for
    less: it may be that of a walk that is a frame late for some of the shot.
    """
    means, spread = 0.0, 0.0
    for late in (1, 2):
        kept = (to - late >= 0) & (to + late < more.shape[1])
        at, there = rows[kept], to[kept]
        long = min(max(len(at) // _BLOCKS, _SHORTEST), _LONGEST)
        blocks = len(at) // long
        if blocks < _FEW_BLOCKS:
            return _PLAIN / usual
        before, after = more[at, there - late], more[at, there + late]
        means += float(((after + before) / 2 - more[at, there]).sum())
        lean = ((after - before) / 2)[: blocks * long].reshape(blocks, long).sum(axis=1)
        turns = np.diff(lean) ** 2
        spread += blocks * float(np.minimum(turns, 9 * np.median(turns)).mean() / 2 + _LEANING * lean.mean() ** 2)
    return float(np.clip(2 * means / max(spread, 1e-9), _DULLEST / usual, _SHARPEST / usual))
