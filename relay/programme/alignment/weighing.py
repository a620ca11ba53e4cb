"""What speaks for two frames being the same: first whether the picture is the same at all, then which of its moments.

A shot is described by the few directions in which its own frames differ. What differs at random from frame to frame
(grain, weave, dust), and what the two prints differ in wherever they are compared, counts the less for it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import Floats
from relay.programme.alignment.walking import AT_CUT, FAR, NEAR_CUT, NONE, Frames, Row

LONGEST = 160
"""Frames of a shot that are weighed at once."""
_DIRECTIONS = 24
_SOFT = 0.08
"""Errors of neighbouring frames are correlated, so distances count for less than they would one by one."""
_SURE_SHARE = 0.7
"""Of a shot's frames, the best, by which noise is judged: the others are torn, dusty, or have no match."""
FARTHEST = 12.0
"""Nats that one pair of frames can speak against its being one picture."""
_TURNS = 3
_FEW = 8
_LATE = 10
_STEADY = 0.3
"""How much a steady difference speaks against a lag, beside one that changes."""
_PLAIN = 0.002
_TAIL = 4  # frames
ALIKE = 0.6
"""Two reels that share nothing have a best match, too: below this it is none."""
_UNLIKE = 0.5
_OFTEN = 0.2
_WIDEST = 500  # frames
_LEAST_ALIKE = 0.35
_STRANGE = 3.0


@dataclass(frozen=True)
class Likeness:
    """How alike frames are (cosine of what is described) where they are the same picture, and where they are not."""

    same: float
    other: float

    def score(self, cosine: Floats, most: float, least: float) -> Floats:
        """Return nats for `cosine`: `most` where as alike as the same picture, 0 half-way."""
        middle = 0.6 * self.other + 0.4 * self.same
        return np.asarray(np.clip((cosine - middle) * (most / max(self.same - middle, 0.04)), least, most), np.float32)


def unit(pictures: Floats) -> Floats:
    return np.asarray(pictures / (np.linalg.norm(pictures, axis=1, keepdims=True) + 1e-3), np.float32)


def likeness(one: Floats, other: Floats, frames: int = 300) -> Likeness:
    """Judge how alike frames are, by some of them against all of the other print. Both are of length 1."""
    some = one[np.linspace(0, len(one) - 1, min(frames, len(one))).astype(int)]
    cosine = some @ other.T
    best = cosine.max(axis=1)
    low, lower = (float(np.median(np.quantile(cosine, part, axis=1))) for part in (0.25, 0.05))
    # One shot may be most of a reel: what is unlike is told by the least alike, and where their tail would end.
    return Likeness(max(float(np.quantile(best, 0.6)), ALIKE), min(low + 2 * (low - lower), _UNLIKE))


def shots_of(pictures: Floats, longest: int = LONGEST) -> list[tuple[int, int]]:
    """Return stretches (first, end) that are weighed at once: shots, long ones in parts."""
    cuts = [0, *_cuts(pictures).tolist(), len(pictures)]
    found = []
    for first, end in pairwise(cuts):
        parts = max(1, -(-(end - first) // longest))
        marks = np.linspace(first, end, parts + 1).astype(int)
        found += [(int(a), int(b)) for a, b in pairwise(marks) if b > a]
    return _joined(found)


def _cuts(pictures: Floats) -> NDArray[np.int64]:
    length = unit(pictures)
    alike = (length[1:] * length[:-1]).sum(axis=1)
    return np.flatnonzero(alike < 0.55 * np.median(alike)) + 1 if len(alike) else np.zeros(0, np.int64)


def from_cut(pictures: Floats) -> NDArray[np.int64]:
    """Return of each frame whether it is the first of a shot, one of the last, or neither, as Row has it."""
    out = np.full(len(pictures), FAR)
    cuts = _cuts(pictures)
    for before in range(1, _TAIL + 1):
        out[np.maximum(cuts - before, 0)] = NEAR_CUT
    out[cuts] = AT_CUT
    return out


def _joined(parts: list[tuple[int, int]], least: int = 12) -> list[tuple[int, int]]:
    """Return parts of `least` frames and more: a flash or a torn frame is no shot."""
    out: list[tuple[int, int]] = []
    for first, end in parts:
        if out and (end - first < least or out[-1][1] - out[-1][0] < least) and end - out[-1][0] <= 2 * LONGEST:
            out[-1] = (out[-1][0], end)
        else:
            out.append((first, end))
    return out


@dataclass(frozen=True)
class Weighed:
    rows: list[Row]
    is_still: NDArray[np.bool_]
    """Frames of B among whose neighbours no picture tells which is which, as far as a shot of A shows them."""


def weighed(
    one: Floats,
    other: Floats,
    walk: Frames,
    low: Frames,
    high: Frames,
    alike: Likeness,
    *,
    is_close: bool,
) -> Weighed:
    """Score frame i of `one` against frames low[i] up to high[i] of `other`, near what a walk found.

    Where the walk `is_close`, its pairs show what the prints differ in; else the nearest frames do, too kindly.
    """
    rows: list[Row] = []
    is_still = np.zeros(len(other), bool)
    for part in stretches(one, other, walk, (low, high), alike):
        shot = Shot(part, is_close=is_close)
        rows += part.rows(shot.score)
        is_still[part.left : part.left + len(part.there)][shot.shown] = shot.still()
    return Weighed(rows, is_still)


@dataclass(frozen=True)
class Stretch:
    """Frames of a shot of A, all that come into question of B, and how alike they are, as pictures."""

    here: Floats
    there: Floats
    first: int
    """The first frame of A."""
    left: int
    """The first frame of B."""
    walk: Frames
    """Where a walk has each frame, counted from `left`; negative where nowhere."""
    cosine: Floats
    same: Floats
    """Nats for one picture (of here, of there)."""
    bounds: tuple[Frames, Frames]
    cuts: Frames

    def rows(self, score: Floats) -> list[Row]:
        """Return rows of `score` (of here, of there), each within its own bounds."""
        each = zip(score, *self.bounds, self.cuts, strict=True)
        return [Row(int(low), row[low - self.left : high - self.left], int(cut)) for row, low, high, cut in each]


def stretches(
    one: Floats,
    other: Floats,
    walk: Frames,
    bounds: tuple[Frames, Frames],
    alike: Likeness,
    longest: int = LONGEST,
) -> Iterator[Stretch]:
    """Yield the shots of A, of `longest` frames at most, each against the frames of B within its bounds."""
    low, high = bounds
    cuts = from_cut(one)
    short, short_other = unit(one), unit(other)
    for first, end in shots_of(one, longest):
        left, right = int(low[first:end].min()), int(high[first:end].max())
        to = np.where(walk[first:end] == NONE, NONE, walk[first:end] - left)
        cosine = short[first:end] @ short_other[left:right].T
        same = _of_shot(alike, cosine, to).score(cosine, 3.0, -6.0)
        within = low[first:end], high[first:end]
        yield Stretch(one[first:end], other[left:right], first, left, to, cosine, same, within, cuts[first:end])


def _of_shot(alike: Likeness, cosine: Floats, walk: Frames) -> Likeness:
    """Return how alike frames are within one shot, along a walk: decay and soft focus lower it for a while."""
    rows = np.flatnonzero((walk >= 0) & (walk < cosine.shape[1]))
    if 2 * len(rows) < len(walk):
        return alike
    least = alike.other + _LEAST_ALIKE * (alike.same - alike.other)
    along = float(np.median(cosine[rows, walk[rows]]))
    return Likeness(min(max(along, least), alike.same), alike.other)


class Shot:
    """One shot of A against a stretch of B, by the few directions in which it differs from itself."""

    def __init__(self, part: Stretch, *, is_close: bool) -> None:
        here, there, walk, cosine, same = part.here, part.there, part.walk, part.cosine, part.same
        met = walk[(walk >= 0) & (walk < len(there))]
        self.shown = slice(int(met.min()), int(met.max()) + 1) if len(met) else slice(0, len(there))
        if self.shown.stop - self.shown.start > 3 * LONGEST:
            self.shown = slice(0, min(len(there), 3 * LONGEST))
        middle = here.mean(axis=0)
        axes = _directions(np.concatenate([here, there[self.shown]]) - middle)
        self.one, self.other = (here - middle) @ axes, (there - middle) @ axes
        self.sway = _sway(self.other[self.shown])
        self.kept = cosine.max(axis=1) >= np.quantile(cosine.max(axis=1), 1 - _SURE_SHARE)
        self.bias = np.zeros(axes.shape[1])
        best = cosine.argmax(axis=1)
        is_met = (walk >= 0) & (walk < len(there))
        trusts_walk = is_close and int(is_met.sum()) >= _FEW
        if trusts_walk:
            best, self.kept = np.where(is_met, walk + self._late(walk, is_met), best), is_met
            best = np.clip(best, 0, len(there) - 1)
        for _ in range(1 if trusts_walk else _TURNS):
            self.bias, self.noise = self._differ(best, trusts_walk)
            distance = self._distances()
            best = np.where(same > 0, distance, distance + 1e6).argmin(axis=1)
        least = np.where(same > 0, distance, distance + 1e6).min(axis=1)
        least = np.where(least < 1e6, least, distance.min(axis=1))
        usual = np.median(least)
        soft = _SOFT / 2 / max(1.0, float(usual) / len(self.noise))
        strange = np.minimum(soft * np.maximum(least - usual, 0), _STRANGE)
        more = np.maximum(distance - least[:, None], 0)
        # What a frame of B differs in from every frame of the shot, a scratch say, tells no moment from another.
        apart = np.minimum(soft * more - np.minimum(soft * more.min(axis=0), _STRANGE), FARTHEST)
        self.score = np.maximum(same - apart - strange[:, None], -FARTHEST).astype(np.float32)

    def _differ(self, best: NDArray[np.int64], is_settled: bool) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return what the prints differ in throughout, and the covariance of what two pictures of one frame differ in.

        A walk that is some frames late shows as a steady difference along the way the shot goes on the whole: along
        that way nothing is taken for steady, or the error would confirm itself.
        """
        apart = (self.one - self.other[best])[self.kept].astype(np.float64)
        if is_settled:
            steady = np.median(apart, axis=0)
            return steady, self._noise(apart - steady)
        third = max(1, len(self.one) // 3)
        way = self.one[-third:].mean(axis=0) - self.one[:third].mean(axis=0)
        way = way / (np.linalg.norm(way) + 1e-9)
        steady = np.median(apart, axis=0)
        steady = steady - (steady @ way) * way
        apart = apart - steady
        noise = apart.T @ apart / len(apart) + _sway(self.one) + self.sway
        noise += np.outer(way, way) * (steady @ steady) / max(1, len(steady) - 1)
        size = np.trace(noise) / len(noise)
        return steady, np.asarray(noise + (0.05 * size + 1e-4) * np.eye(len(noise)))

    def _noise(self, apart: NDArray[np.float64]) -> NDArray[np.float64]:
        noise = apart.T @ apart / len(apart) + _sway(self.one) + self.sway
        size = np.trace(noise) / len(noise)
        return np.asarray(noise + (0.05 * size + 1e-4) * np.eye(len(noise)))

    def _late(self, walk: Frames, is_met: NDArray[np.bool_]) -> int:
        """Return by how many frames a walk is early throughout, whatever the prints steadily differ in.

        The difference is found anew for each lag, so that an error of the walk does not confirm itself.
        """
        at, to = np.flatnonzero(is_met), walk[is_met]
        self.noise = self._noise(np.zeros((1, self.one.shape[1])))
        one, other = self._whitened(self.one), self._whitened(self.other)
        best, least = 0, np.inf
        for late in sorted(range(-_LATE, _LATE + 1), key=abs):
            here = (to + late >= 0) & (to + late < len(other))
            if 2 * here.sum() < len(at):
                continue
            apart = one[at[here]] - other[to[here] + late]
            steady = np.median(apart, axis=0)
            far = ((apart - steady) ** 2).sum(axis=1)
            cost = np.minimum(far, 3 * np.median(far)).mean() + _STEADY * (steady @ steady)
            if cost < least * (1 - _PLAIN):
                best, least = late, cost
        return best

    def _distances(self) -> NDArray[np.float64]:
        one, other = self._whitened(self.one - self.bias), self._whitened(self.other)
        distance = (one**2).sum(axis=1)[:, None] + (other**2).sum(axis=1)[None, :] - 2 * one @ other.T
        return np.asarray(np.maximum(distance, 0))

    def _whitened(self, values: Floats) -> NDArray[np.float64]:
        return np.linalg.solve(np.linalg.cholesky(self.noise), values.T.astype(np.float64)).T

    def still(self, span: int = 6) -> NDArray[np.bool_]:
        """Return which of B's shown frames differ from those around them by no more than noise does."""
        shown = self.other[self.shown]
        count = len(shown)
        total = np.concatenate([np.zeros((1, shown.shape[1])), np.cumsum(shown.astype(np.float64), axis=0)])
        at = np.arange(count)
        before, after = np.maximum(at - span, 0), np.minimum(at + 1 + span, count)
        ahead = (total[after] - total[at]) / (after - at)[:, None]
        behind = (total[at + 1] - total[before]) / (at + 1 - before)[:, None]
        moved = (self._whitened((ahead - behind).astype(np.float32)) ** 2).sum(axis=1)
        chance = np.trace(np.linalg.solve(self.noise, self.sway)) * 2 / span
        return np.asarray(moved <= 2 * chance + 0.02)


def _directions(pictures: Floats) -> Floats:
    """Return an orthonormal base (pixels, directions) of what the pictures differ in most."""
    spread = (pictures @ pictures.T).astype(np.float64)
    size, turns = np.linalg.eigh(spread)
    few = min(_DIRECTIONS, len(pictures))
    size, turns = np.maximum(size[-few:], 1e-6 * max(size[-1], 1e-6)), turns[:, -few:]
    return np.asarray(pictures.T @ (turns / np.sqrt(size)), np.float32)


def _sway(values: Floats) -> NDArray[np.float64]:
    """Return the covariance of what changes at random: smooth action has no second difference."""
    size = values.shape[1]
    if len(values) < 5:
        return np.zeros((size, size))
    bends = (values[2:] - 2 * values[1:-1] + values[:-2]).astype(np.float64) / 6**0.5
    length = np.linalg.norm(bends, axis=1)
    bends *= np.minimum(1, 2 * np.median(length) / (length + 1e-9))[:, None]
    return np.asarray(bends.T @ bends / len(bends))


def around(walk: Frames, count: int, width: int) -> tuple[Frames, Frames]:
    """Return which frames [low, high) of B come into question for each frame of A, `width` to either side of a walk."""
    known = np.flatnonzero(walk != NONE)
    if not len(known):
        return np.zeros(len(walk), np.int64), np.full(len(walk), count)
    at = np.arange(len(walk))
    behind = walk[known[np.maximum(np.searchsorted(known, at, side="right") - 1, 0)]]
    ahead = walk[known[np.minimum(np.searchsorted(known, at), len(known) - 1)]]
    ahead = np.where(at > known[-1], count - 1, ahead)
    behind = np.where(at < known[0], 0, behind)
    low, high = np.minimum(behind, ahead), np.maximum(behind, ahead)
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    low = minimum_filter1d(low, 2 * width + 1, mode="nearest") - width
    high = maximum_filter1d(high, 2 * width + 1, mode="nearest") + width + 1
    return np.clip(low, 0, count - 1), np.clip(high, 1, count)


def around_shots(here: Floats, there: Floats, walk: Frames, width: int) -> tuple[Frames, Frames]:
    """Return what `around` does, and all of the shots of B in which a shot of A was found, roughly."""
    low, high = around(walk, len(there), width)
    first_frames = np.array([first for first, _ in shots_of(there, longest=len(there))] + [len(there)])
    for first, end in shots_of(here, longest=len(here)):
        met = walk[first:end][walk[first:end] != NONE]
        if not len(met):
            continue
        shots = np.searchsorted(first_frames, met, side="right") - 1
        often = np.flatnonzero(np.bincount(shots) >= _OFTEN * len(met))
        left, right = first_frames[often.min()], first_frames[often.max() + 1]
        if right - left <= _WIDEST:
            low[first:end], high[first:end] = np.minimum(low[first:end], left), np.maximum(high[first:end], right)
    return low, high
