"""Whether a detail that belongs to the film is still there in a later version: registered, tone-normalised, compared.

Pictures are grey values as floats; `box` is x, y, width, height in their pixels, with at least `MARGIN` of picture
around it wherever the frame has that much. Needs numpy and scipy (the extra `programme`). Reads nothing.

The later frame is moved onto the earlier one by what lies around the region, then given its tones by the same pixels;
so neither a grade nor a stabilising counts as a change, and the region itself has no say in either. What remains is
measured against what is to be expected of grain (seen around the region) and of a fit that is a little off (worst at
edges).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

Picture = NDArray[np.float32]
Box = tuple[int, int, int, int]

MARGIN = 90
"""Pixels of picture around a region that a comparison looks at."""
GONE = 1.5
"""From this score on a detail is flagged; docs/results/left-as-it-is.md says what that catches and what it costs."""
TOGETHER = 5
"""Frames that are judged together: a detail in the gate stands still, grain does not."""
_SOFT = 1.0
_REACH = 3.0
"""Pixels: the soft edge of the window in which change is summed; a detail of 12 pixels fills it."""
_OFF = 0.3
"""Pixels by which a fit may be off."""


@dataclass(frozen=True)
class Fitted:
    """A later frame laid onto the earlier one."""

    picture: Picture
    """In the earlier one's place and tones."""
    excess: Picture
    """How much more was lost at each pixel than grain and a fit a little off would lose; about 1 where nothing was."""


def _around(shape: tuple[int, ...], box: Box, border: int = 4) -> NDArray[np.bool_]:
    x, y, width, height = box
    mask = np.ones(shape, bool)
    mask[max(0, y - border) : y + height + border, max(0, x - border) : x + width + border] = False
    return mask


def _without(picture: Picture, mask: NDArray[np.bool_]) -> Picture:
    """Return `picture` with what `mask` leaves out filled softly from around it."""
    weight = ndimage.gaussian_filter(mask.astype(np.float32), 8)
    filled = ndimage.gaussian_filter(np.where(mask, picture, 0).astype(np.float32), 8) / np.maximum(weight, 1e-3)
    return np.where(mask, picture, filled).astype(np.float32)


def _shift_between(one: Picture, two: Picture) -> NDArray[np.float64]:
    """Return by how many whole pixels, down and right, `two` lies off `one`: the peak of their phase correlation."""
    window = np.outer(np.hanning(one.shape[0]), np.hanning(one.shape[1]))
    spectra = [fft.rfft2((each - ndimage.gaussian_filter(each, 12)) * window) for each in (one, two)]
    cross = spectra[1] * spectra[0].conj()
    peaks = fft.irfft2(cross / np.maximum(np.abs(cross), 1e-9), s=one.shape)
    peaks = ndimage.gaussian_filter(peaks, 1.0, mode="wrap")
    at = np.array(np.unravel_index(np.argmax(peaks), peaks.shape), float)
    size = np.array(one.shape, float)
    return np.where(at > size / 2, at - size, at)


def _refined(one: Picture, two: Picture, mask: NDArray[np.bool_], start: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the affine map, as 2 x 3 from `one`'s places to `two`'s, that makes them most alike where `mask` is."""
    y, x = np.mgrid[: one.shape[0], : one.shape[1]].astype(np.float64)
    yc, xc = (y - one.shape[0] / 2) / one.shape[0], (x - one.shape[1] / 2) / one.shape[1]
    found = np.array([[0.0, 0.0, start[0]], [0.0, 0.0, start[1]]])
    soft_one, soft_two = (ndimage.gaussian_filter(each, 1.5) for each in (one, two))
    edge = 8
    inner = mask.copy()
    inner[:edge], inner[-edge:], inner[:, :edge], inner[:, -edge:] = False, False, False, False
    for _ in range(6):
        places = [
            y + found[0, 0] * yc + found[0, 1] * xc + found[0, 2],
            x + found[1, 0] * yc + found[1, 1] * xc + found[1, 2],
        ]
        laid = ndimage.map_coordinates(soft_two, places, order=1, mode="nearest")
        tones = _tones(laid, soft_one, inner)
        laid = tones(laid)
        down, right = np.gradient(laid)
        steps = np.stack([down * yc, down * xc, down, right * yc, right * xc, right], -1)[inner]
        off = (soft_one - laid)[inner]
        weight = 1 / (1 + (off / max(1e-4, 2 * np.median(np.abs(off)))) ** 2)
        normal = steps.T @ (steps * weight[:, None]) + np.eye(6) * 1e-6
        found = found + np.linalg.solve(normal, steps.T @ (weight * off)).reshape(2, 3)
    return found


class _Curve:
    """A tone curve through quantiles, going on straight beyond them."""

    def __init__(self, here: NDArray[np.float64], there: NDArray[np.float64]) -> None:
        self._here, self._there = np.maximum.accumulate(here + np.arange(len(here)) * 1e-7), there
        middle = len(here) // 2
        self._low = (there[middle] - there[0]) / max(1e-4, here[middle] - here[0])
        self._high = (there[-1] - there[middle]) / max(1e-4, here[-1] - here[middle])

    def __call__(self, picture: Picture) -> Picture:
        inside = np.interp(picture, self._here, self._there)
        below, above = np.minimum(picture - self._here[0], 0), np.maximum(picture - self._here[-1], 0)
        return np.asarray(inside + below * self._low + above * self._high, np.float32)


def _tones(here: Picture, there: Picture, mask: NDArray[np.bool_]) -> _Curve:
    """Return the curve that gives `here` the tones of `there`, by the pixels of `mask`."""
    steps = np.linspace(0.02, 0.98, 25)
    return _Curve(np.quantile(here[mask], steps), np.quantile(there[mask], steps))


def fitted(before: Picture, after: Picture, box: Box) -> Fitted:
    """Lay `after` onto `before` by what lies around `box`, and say how much was lost where."""
    mask = _around(before.shape, box)
    one, two = _without(before, mask), _without(after, mask)
    found = _refined(one, two, mask, _shift_between(one, two))
    y, x = np.mgrid[: before.shape[0], : before.shape[1]].astype(np.float64)
    yc, xc = (y - before.shape[0] / 2) / before.shape[0], (x - before.shape[1] / 2) / before.shape[1]
    places = [
        y + found[0, 0] * yc + found[0, 1] * xc + found[0, 2],
        x + found[1, 0] * yc + found[1, 1] * xc + found[1, 2],
    ]
    laid = ndimage.map_coordinates(after, places, order=3, mode="nearest").astype(np.float32)
    shown = _tones(ndimage.gaussian_filter(laid, _SOFT), ndimage.gaussian_filter(before, _SOFT), mask)(laid)
    return Fitted(shown, _excess(before, shown, mask))


def _excess(before: Picture, shown: Picture, mask: NDArray[np.bool_]) -> Picture:
    one, two = (ndimage.gaussian_filter(each, _SOFT) for each in (before, shown))
    change = ndimage.gaussian_filter((one - two) ** 2, _REACH)
    down, right = np.gradient(one)
    slope = ndimage.gaussian_filter(down**2 + right**2, _REACH)
    down, right = np.gradient(two)
    slope = np.minimum(slope, ndimage.gaussian_filter(down**2 + right**2, _REACH))
    inner = mask.copy()
    inner[:12], inner[-12:], inner[:, :12], inner[:, -12:] = False, False, False, False
    expected = slope * _OFF**2
    noise = max(1e-7, float(np.median(np.maximum(change - expected * 0.5, 0)[inner])))
    ratio = change / (noise + expected)
    usual = max(1.0, float(np.quantile(ratio[inner], 0.995)))
    return np.asarray(ratio / usual, np.float32)


def scores(found: list[Fitted], box: Box) -> list[float]:
    """Return for each frame how much more was lost in `box` than around it, its neighbours' word counting too."""
    x, y, width, height = box
    inside = np.stack([each.excess[y : y + height, x : x + width] for each in found])
    half = TOGETHER // 2
    return [float(inside[max(0, at - half) : at + half + 1].mean(0).max()) for at in range(len(found))]
