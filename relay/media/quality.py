"""How good a frame is, in figures that can be argued about: sharpness, grain, range of tones, damage, framing.

Pure. A picture is rows and columns of luma as the file's codes have it, 0 to 1. Figures of two scans compare where the
scans are of one size and one transfer; none of them chooses anything.
"""

from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from relay.media.decay import boiling, patches

Luma = NDArray[np.float32]

_SPIKE = 0.06
"""Of the range: what a speck of dust differs by at least from the same place one frame before and one after."""

_REACH = 7
"""Pixels: within half of it, what moves is looked for before it passes for a speck."""


class Look(NamedTuple):
    """What is measured of a frame, or the middle of what is measured of several."""

    sharpness: float
    """Fine detail, of two pixels and less across its blur, against all contrast, in percent; grain is taken out."""
    grain: float
    """Standard deviation from pixel to pixel, in percent of the range."""
    dark: float
    """Two in a hundred pixels are darker, in percent of the range."""
    light: float
    """Two in a hundred pixels are lighter."""
    damage: float
    """Places that are like neither the frame before nor the frame after, though those are alike: per mille."""
    wide: float
    """How much of the frame's width and height shows a picture rather than its black border, in percent."""
    high: float
    decay: float = 0.0
    """Patches that boil, unlike the frame before and the frame after, of all: percent (`relay.media.decay`)."""


def look_at(before: Luma, frame: Luma, after: Luma) -> Look:
    """Return the figures of `frame`, between its neighbours; the neighbours of a first or last frame may be itself."""
    top, bottom, left, right = _box(frame)
    inside = frame[top:bottom, left:right]
    grain = _grain(inside)
    dark, light = np.percentile(inside, (2, 98))
    neighbours = before[top:bottom, left:right], after[top:bottom, left:right]
    return Look(
        sharpness=round(100 * _sharpness(inside, grain), 2),
        grain=round(100 * grain, 3),
        dark=round(100 * float(dark), 1),
        light=round(100 * float(light), 1),
        damage=round(1000 * _damage(neighbours[0], inside, neighbours[1], grain), 3),
        wide=round(100 * (right - left) / frame.shape[1], 1),
        high=round(100 * (bottom - top) / frame.shape[0], 1),
        decay=round(_boiling(*(each[top:bottom, left:right] for each in (before, frame, after))), 2),
    )


def middle_of(looks: Sequence[Look]) -> Look:
    """Return the median of each figure. Raises ValueError where nothing was looked at."""
    if not looks:
        raise ValueError("no frame was looked at: there is nothing to tell")
    return Look(*(float(median(figures)) for figures in zip(*looks, strict=True)))


def _grain(picture: Luma) -> float:
    """Return the noise's standard deviation, from what a plane and straight edges leave nothing of.

    The mask is that of Immerkaer, "Fast noise variance estimation" (1996; memory); the median instead of the mean, so
    that texture, which lies in the tail, weighs less.
    """
    if min(picture.shape) < 5:
        return 0.0
    across = picture[:, :-2] - 2 * picture[:, 1:-1] + picture[:, 2:]
    both = across[:-2] - 2 * across[1:-1] + across[2:]
    return float(np.median(np.abs(both)) / 0.6745 / 6)  # 6: the root of the mask's squares; 0.6745: MAD of a normal


def _sharpness(picture: Luma, grain: float) -> float:
    from scipy.ndimage import gaussian_filter

    narrow, broad = gaussian_filter(picture, 0.8), gaussian_filter(picture, 2.0)
    fine = float(np.var(narrow - broad)) - grain * grain * _NOISE_LEFT
    whole = float(np.var(picture)) - grain * grain
    return float(np.sqrt(max(0.0, fine) / whole)) if whole > 1e-8 else 0.0


def _noise_left() -> float:
    """Return how much of white noise's variance stays between the two blurs of `_sharpness`."""
    from_centre = np.arange(-12, 13)

    def blur(width: float) -> NDArray[np.float64]:
        line = np.exp(-0.5 * (from_centre / width) ** 2)
        return np.asarray(np.outer(line, line) / line.sum() ** 2)

    return float(((blur(0.8) - blur(2.0)) ** 2).sum())


_NOISE_LEFT = _noise_left()


def _damage(before: Luma, frame: Luma, after: Luma, grain: float) -> float:
    from scipy.ndimage import maximum_filter, minimum_filter

    least = max(_SPIKE, 6 * grain)
    low, high = np.minimum(before, after), np.maximum(before, after)
    darkest, lightest = minimum_filter(low, _REACH), maximum_filter(high, _REACH)
    is_spike = ((frame > lightest + least) | (frame < darkest - least)) & (high - low < least / 2)
    return float(is_spike.mean())


def _boiling(before: Luma, frame: Luma, after: Luma) -> float:
    """Return what thumbnails of these frames would show of decay, in percent."""
    by = frame.shape[0] // _PATCHES[0], frame.shape[1] // _PATCHES[1]
    if not all(by):
        return 0.0
    small = (patches(255 * each[None], by) for each in (before, frame, after))
    return float(boiling(*small)[0])


_PATCHES = 12, 16
"""Rows and columns, as a thumbnail is parted for it."""


def _box(frame: Luma) -> tuple[int, int, int, int]:
    """Return the rows and columns from and to which something lighter than a border is seen; all, where nothing is."""
    lit = float(frame.min()) + 0.04
    rows, columns = (np.flatnonzero(np.percentile(frame, 90, axis=axis) > lit) for axis in (1, 0))
    if not len(rows) or not len(columns):
        return 0, frame.shape[0], 0, frame.shape[1]
    return int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1
