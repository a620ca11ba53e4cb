"""What a hundred years do to a picture: a clean drawing in, the density codes of a scanned old print out.

Codes are 10-bit printing densities, where 95 is black and 685 is white, 300 codes to a tenfold of light: the customary
aims. Damage is added in codes, as it is added in density on film.
"""

from dataclasses import dataclass
from functools import cache
from math import pi, sin

import numpy as np
from numpy.typing import NDArray

from deploy.demo.canvas import STEP, Tones, X, Y, blurred

BLACK, WHITE, CODES_PER_DECADE = 95, 685, 300
Size = tuple[int, int]


@dataclass(frozen=True)
class Wear:
    """How a print looks. `grain` and `flicker` are in codes, `weave` in thousandths of the picture's height."""

    softness: int
    contrast: float
    exposure: float
    grain: float
    weave: float
    flicker: float
    dust: float
    scratches: int
    corner: float


@dataclass(frozen=True)
class Place:
    """Where in which print a frame is: what is worn there. `since_splice` counts frames from the last join."""

    seed: tuple[int, ...]
    frame: int
    since_splice: int
    decay: float
    wet_gate: bool = False


def scanned(tones: Tones, wear: Wear, place: Place, size: Size) -> Tones:
    """Return the drawing `tones` as codes at `size` (columns, rows), with the wear of its `place`, not yet limited."""
    rng = np.random.default_rng([*place.seed, place.frame])
    printed = blurred(_printed(tones, wear) * _aperture(wear.corner), wear.softness)
    codes = _codes(printed)
    codes += np.float32(rng.normal(0, wear.flicker) + wear.exposure)
    picture = _resampled(codes, size, _unsteadiness(wear, place, rng))
    if place.decay > 0:
        _decay(picture, place)
    picture += _grain(rng, size, wear.grain)
    if place.since_splice == 0:
        _splice(picture, rng)
    _scratch(picture, wear, place)
    for _ in range(rng.poisson(wear.dust * (0.15 if place.wet_gate else 1))):
        _speck(picture, rng)
    return picture


def _printed(tones: Tones, wear: Wear) -> Tones:
    """Each copy of a copy steepens the middle of the scale."""
    clean = np.clip(tones, 0, 1)
    return clean + np.float32(wear.contrast) * (clean * clean * (3 - 2 * clean) - clean)


def _codes(tones: Tones) -> Tones:
    dimmest = 10 ** ((BLACK - WHITE) / CODES_PER_DECADE)
    light = np.square(tones)
    light *= np.float32(1 - dimmest)
    light += np.float32(dimmest)
    np.log10(light, out=light)
    light *= CODES_PER_DECADE
    light += WHITE
    return light


@cache
def _aperture(corner: float) -> Tones:
    """The gate of the camera, round at its corners, and the lens, dimmer towards them."""
    across, up = np.abs(X) - (1.315 - corner), np.abs(Y) - (0.985 - corner)
    outside = np.hypot(np.maximum(across, 0), np.maximum(up, 0)) - corner
    return np.clip(0.5 - outside / (3 * STEP), 0, 1) * (1 - 0.13 * (X * X + Y * Y))


def _unsteadiness(wear: Wear, place: Place, rng: np.random.Generator) -> tuple[float, float]:
    """How far the picture lies right of and below its place, as parts of its height."""
    phase = place.seed[0] % 7
    aside = 0.6 * sin(place.frame * 0.61 + phase) + 0.5 * float(rng.normal())
    down = 0.5 * sin(place.frame * 0.37 + phase) + 0.6 * float(rng.normal())
    bump = (28, -11, 4)[place.since_splice] if place.since_splice < 3 else 0
    return wear.weave * aside / 1000, (wear.weave * down + bump) / 1000


def _resampled(tones: Tones, size: Size, moved: tuple[float, float] = (0, 0)) -> Tones:
    """Return `tones` at `size` (columns, rows), read between its samples; what is moved in from outside is its edge."""
    rows, mix_down = _between(tones.shape[0], size[1], moved[1] * tones.shape[0])
    columns, mix_across = _between(tones.shape[1], size[0], moved[0] * tones.shape[0])
    wide = _mixed(np.take(tones, columns, axis=1), np.take(tones, columns + 1, axis=1), mix_across)
    return _mixed(wide[rows], wide[rows + 1], mix_down[:, np.newaxis])


def _mixed(one: Tones, other: Tones, part: Tones) -> Tones:
    """Blend `part` of `other` into `one`, in the memory of `other`: fresh megabytes cost more than the sums."""
    other -= one
    other *= part
    other += one
    return other


def _between(have: int, want: int, moved: float) -> tuple[NDArray[np.intp], Tones]:
    at = np.clip((np.arange(want) + 0.5) * have / want - 0.5 - moved, 0, have - 1.001)
    first = at.astype(np.intp)
    return first, (at - first).astype(np.float32)


@cache
def _grain_plate(size: Size, codes: float) -> Tones:
    """Grain of `codes` standard deviation, larger than the picture; every frame takes another part of it."""
    plate = np.random.default_rng(size).standard_normal((size[1] + 160, size[0] + 160), np.float32)
    soft = blurred(plate, 1)
    soft *= np.float32(codes) / soft.std()
    return soft


def _grain(rng: np.random.Generator, size: Size, codes: float) -> Tones:
    row, column = rng.integers(0, 160, 2)
    part = _grain_plate(size, codes)[row : row + size[1], column : column + size[0]]
    turned: Tones = part[:: rng.choice((1, -1)), :: rng.choice((1, -1))]
    return turned


def _decay(picture: Tones, place: Place) -> None:
    """Nitrate gone soft: bleached, mottled islands with a dark shore, that grow and shrink from frame to frame."""
    size = (picture.shape[1], picture.shape[0])
    still, moving = np.random.default_rng(place.seed), np.random.default_rng([*place.seed, place.frame, 1])
    coarse = 0.7 * still.random((8, 11), np.float32) + 0.3 * moving.random((8, 11), np.float32)
    fine = blurred(moving.random((120, 160), np.float32) - 0.5, 2)
    height = blurred(_resampled(coarse, (160, 120)), 4) + 0.25 * fine - np.float32(0.98 - 0.38 * place.decay)
    island = np.clip(height * 18, 0, 0.85)
    shore = np.exp(-np.square(height * 34)) * np.float32(170 * place.decay)
    eaten = 540 + 700 * np.clip(height, 0, 0.15) + 420 * fine
    picture += (_resampled(eaten, size) - picture) * _resampled(island, size) - _resampled(shore, size)


def _splice(picture: Tones, rng: np.random.Generator) -> None:
    """A cement join shows along the lower edge: a bright overlap under a dark line."""
    high = max(picture.shape[0] // 28, 2)
    picture[-high:] += 130 + 60 * rng.random((high, 1), np.float32)
    picture[-high - 2 : -high] -= 260


def _scratch(picture: Tones, wear: Wear, place: Place) -> None:
    """Lines that run through many frames and wander slowly; liquid in the gate hides most of them."""
    rows, columns = picture.shape
    for line in range(wear.scratches):
        fixed = np.random.default_rng([*place.seed, 1000 + line])
        home, pace, phase, every = fixed.uniform((0.05, 0.02, 0, 30), (0.95, 0.09, 2 * pi, 70))
        if sin(place.frame * 2 * pi / every + phase) < -0.2:
            continue
        drift = home + 0.012 * np.sin(place.frame * pace + phase + np.linspace(0, 0.4, rows))
        strength = float(fixed.choice((210, 150, -170))) * (0.2 if place.wet_gate else 1)
        broken = np.clip(0.6 + 0.5 * np.sin(np.arange(rows) * fixed.uniform(0.01, 0.05) + place.frame), 0.1, 1)
        at = np.clip(drift * columns, 0, columns - 2).astype(np.intp)
        for beside, part in ((0, 1.0), (1, 0.55)):
            picture[np.arange(rows), at + beside] += (strength * part * broken).astype(np.float32)


def _speck(picture: Tones, rng: np.random.Generator) -> None:
    """A grain of dust or a hair: dark where it lay on this print, bright where it lay on the one before."""
    rows, columns = picture.shape
    row, column = int(rng.integers(0, rows)), int(rng.integers(0, columns))
    reach = int(rows * rng.uniform(0.004, 0.012)) + 2
    hair = rng.random() < 0.12
    reach *= 5 if hair else 1
    part = picture[max(row - reach, 0) : row + reach, max(column - reach, 0) : column + reach]
    down = np.arange(-min(row, reach), part.shape[0] - min(row, reach))[:, np.newaxis]
    across = np.arange(-min(column, reach), part.shape[1] - min(column, reach))
    turn = rng.uniform(0, pi)
    along = across * np.cos(turn) + down * np.sin(turn)
    aside = (down * np.cos(turn) - across * np.sin(turn)) * rng.uniform(1.2, 2.6)
    if hair:
        outside = np.hypot(np.abs(np.hypot(along, aside) - reach * 0.7), np.maximum(aside, 0)) - 0.7
    else:
        outside = np.hypot(along, aside) - reach * rng.uniform(0.35, 0.7)
    part += np.float32(rng.choice((-330, 240))) * np.clip(0.5 - outside / 1.8, 0, 1).astype(np.float32)
