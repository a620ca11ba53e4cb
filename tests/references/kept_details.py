"""Scenes with a detail that belongs to the film, and what a lab made of them: with the detail, or cleaned of it.

Invented pictures: a panned scene of soft texture and hard edges, at the scale of a 2K scan (2048 x 1556), grain of
1 to 3 % of the range, weave of half a pixel. The detail, within 12 x 12 pixels, stands still in the camera gate: a
hair, a hook or a blob that differs from what it covers by 12 to 50 % of the range. The later version is the scan
warped (shifts to 6 pixels, turned to 0.15 degrees, zoomed to 0.5 %), graded (gamma 0.7 to 1.4, gain, lift) and with
its grain changed (softened, other grain laid over; in half of the cases none of the scan's own grain is left).
Cleaned, each frame's detail was filled from around it before all that.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Pictures = NDArray[np.float32]
DETAIL = 12
MARGIN = 90
"""Pixels around the detail that are drawn."""
SIDE = DETAIL + 2 * MARGIN


@dataclass(frozen=True)
class Case:
    """Frames before and after, as grey values from 0 to 1, and where the region is in them."""

    before: Pictures
    after: Pictures
    box: tuple[int, int, int, int]
    """x, y, width, height."""
    is_cleaned: bool


def case(seed: int, *, is_cleaned: bool, frames: int = 5) -> Case:
    """Return the case of `seed`; with the same seed, cleaned or not differ by the cleaning alone."""
    chance = np.random.default_rng(seed)
    scene = _scene(chance)
    grain = chance.uniform(0.01, 0.03)
    detail = _detail(chance)
    strength = chance.uniform(0.12, 0.5)
    pan = chance.uniform(-3, 3, 2)
    looks = _Lab(chance)
    box = _box(chance)
    before, after = [], []
    for at in range(frames):
        clear = _shown(scene, pan * at + chance.normal(0, 0.5, 2)) * chance.uniform(0.98, 1.02)
        towards = np.float32(0 if clear[MARGIN : MARGIN + DETAIL, MARGIN : MARGIN + DETAIL].mean() > 0.4 else 1)
        held = clear + _placed(detail) * strength * np.sign(towards - 0.5)
        noise = _grain(chance, grain)
        cleaned = held.copy()
        cleaned[_PLACE] = _filled(held)[_PLACE]
        before.append(np.clip(held + noise, 0, 1))
        noise_left = noise.copy()
        noise_left[_PLACE] = _grain(np.random.default_rng(seed + at), grain)[_PLACE] if is_cleaned else noise[_PLACE]
        if looks.is_regrained:
            noise_left = _grain(chance, grain)
        after.append(looks.made((cleaned if is_cleaned else held) + noise_left, chance))
    return Case(np.asarray(before, np.float32), np.asarray(after, np.float32), box, is_cleaned)


_PLACE = (slice(MARGIN - 1, MARGIN + DETAIL + 1), slice(MARGIN - 1, MARGIN + DETAIL + 1))


def _box(chance: np.random.Generator) -> tuple[int, int, int, int]:
    """Return the region that a person drew: the detail with 0 to 24 pixels around it on each side."""
    left, top, right, bottom = chance.integers(0, 25, 4)
    return MARGIN - int(left), MARGIN - int(top), DETAIL + int(left + right), DETAIL + int(top + bottom)


def _scene(chance: np.random.Generator) -> Pictures:
    size = SIDE + 60
    rough = [ndimage.gaussian_filter(chance.normal(size=(size, size)), scale) for scale in (2, 6, 20)]
    soft = sum(each / each.std() * weight for each, weight in zip(rough, chance.uniform(0.0, 0.08, 3), strict=True))
    y, x = np.mgrid[:size, :size]
    scene = 0.5 + soft
    for _ in range(chance.integers(2, 7)):
        angle, at = chance.uniform(0, 2 * np.pi), chance.uniform(0.2, 0.8, 2) * size
        edge = (x - at[0]) * np.cos(angle) + (y - at[1]) * np.sin(angle)
        scene = scene + chance.uniform(-0.2, 0.2) / (1 + np.exp(np.clip(-edge / chance.uniform(0.8, 4), -50, 50)))
    return np.clip(scene, 0.05, 0.95).astype(np.float32)


def _shown(scene: Pictures, move: NDArray[np.float64]) -> Pictures:
    moved = ndimage.shift(scene, np.clip(move, -25, 25), order=1, mode="nearest")
    return np.asarray(moved[30 : 30 + SIDE, 30 : 30 + SIDE], np.float32)


def _detail(chance: np.random.Generator) -> Pictures:
    y, x = np.mgrid[:DETAIL, :DETAIL].astype(np.float32)
    kind = chance.integers(3)
    if kind == 2:
        drawn = np.exp(-(((x - 5.5) / chance.uniform(1.5, 3.5)) ** 2 + ((y - 5.5) / chance.uniform(1.5, 3.5)) ** 2))
        return np.asarray(drawn, np.float32)
    bend, width = chance.uniform(-0.12, 0.12) * (1 + kind), chance.uniform(0.7, 1.5)
    turned = x if chance.random() < 0.5 else y
    along = y if turned is x else x
    middle = 5.5 + bend * (along - 5.5) ** 2 + chance.uniform(-0.5, 0.5) * (along - 5.5)
    return np.asarray(np.exp(-(((turned - middle) / width) ** 2)), np.float32)


def _placed(detail: Pictures) -> Pictures:
    page = np.zeros((SIDE, SIDE), np.float32)
    page[MARGIN : MARGIN + DETAIL, MARGIN : MARGIN + DETAIL] = detail
    return page


def _filled(picture: Pictures) -> Pictures:
    """Return `picture` with the detail's place filled from its border, as a cleaning does."""
    filled = picture.copy()
    filled[_PLACE] = picture[MARGIN - 3 : MARGIN + DETAIL + 3, MARGIN - 3 : MARGIN + DETAIL + 3].mean()
    inner = np.zeros(picture.shape, bool)
    inner[_PLACE] = True
    for _ in range(60):  # heat flows in from the border until it lies smooth
        filled[inner] = ndimage.uniform_filter(filled, 3)[inner]
    return filled


def _grain(chance: np.random.Generator, strength: float) -> Pictures:
    soft = ndimage.gaussian_filter(chance.normal(size=(SIDE, SIDE)), 0.7)
    return np.asarray(soft / soft.std() * strength, np.float32)


class _Lab:
    """What one lab does to every frame of a shot."""

    def __init__(self, chance: np.random.Generator) -> None:
        self.angle, self.zoom = np.deg2rad(chance.uniform(-0.15, 0.15)), 1 + chance.uniform(-0.005, 0.005)
        self.shift = chance.uniform(-6, 6, 2)
        self.gamma, self.gain, self.lift = chance.uniform(0.7, 1.4), chance.uniform(0.75, 1.0), chance.uniform(0, 0.1)
        self.soft, self.grain = chance.uniform(0, 0.9), chance.uniform(0, 0.02)
        self.is_regrained = chance.random() < 0.5

    def made(self, scan: Pictures, chance: np.random.Generator) -> Pictures:
        turn = (
            np.array([[np.cos(self.angle), -np.sin(self.angle)], [np.sin(self.angle), np.cos(self.angle)]]) * self.zoom
        )
        middle = np.full(2, SIDE / 2)
        offset = middle - turn @ middle + self.shift + chance.normal(0, 0.5, 2)
        warped = ndimage.affine_transform(scan, turn, offset, order=3, mode="reflect")
        graded = self.lift + self.gain * np.clip(warped, 0, 1) ** self.gamma
        softened = ndimage.gaussian_filter(graded, self.soft) if self.soft > 0.2 else graded
        return np.clip(softened + _grain(chance, self.grain), 0, 1).astype(np.float32)
