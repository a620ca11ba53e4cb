"""Scratches and dust are taken off thumbnails, and what the scene held is left.

A scratch runs down the film, dust lies on one frame: common practice. The pictures are drawn here.
"""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift

from relay.programme.alignment.cleaning import cleaned


def scene(seed: int, frames: int = 12) -> np.ndarray:
    """Return soft pictures (frames, 48, 64) that go on by a third of a pixel a frame, with grain."""
    rng = np.random.default_rng(seed)
    still = gaussian_filter(rng.normal(size=(48, 100)), 2)
    still = 128 + 45 * still / still.std()
    moved = np.array([shift(still, (0, -0.33 * at), order=1)[:, :64] for at in range(frames)])
    return (moved + rng.normal(0, 4, moved.shape)).clip(0, 255).astype(np.uint8)


def apart(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.abs(one.astype(int) - other.astype(int))


@pytest.mark.parametrize("column", [0, 1, 30, 63])
@pytest.mark.parametrize("tone", [-60, 60])
def test_a_scratch_is_painted_over_from_beside_it(column: int, tone: int):
    whole = scene(1)
    grey = whole.copy()
    line = np.linspace(0.5, 1, 12)[:, None] * tone
    grey[:, :, column] = (grey[:, :, column] + line).clip(0, 255)
    left = np.median(apart(cleaned(grey), whole)[:, :, column])
    assert left < (10 if 0 < column < 63 else 18)  # at the edge there is one side only
    assert np.median(apart(grey, whole)[:, :, column]) > 40
    assert (apart(cleaned(grey), whole) > 25)[:, :, np.arange(64) != column].mean() < 0.002


def test_a_scratch_that_comes_between_other_frames_stays_on_none():
    whole = scene(2)
    grey = whole.copy()
    grey[5, :, 40] = 255
    assert np.median(apart(cleaned(grey), whole)[5, :, 40]) < 10


def test_dust_of_one_frame_goes_and_what_stays_for_three_stays():
    whole = scene(3)
    grey = whole.copy()
    grey[4, 10:13, 20:23] = 250
    grey[6:9, 30:33, 20:23] = 250
    clean = cleaned(grey)
    assert apart(clean, whole)[4, 10:13, 20:23].mean() < 40 < apart(grey, whole)[4, 10:13, 20:23].mean()
    assert (clean[6:9, 30:33, 20:23] == 250).all()


def test_unhurt_frames_are_left_as_they_are():
    whole = scene(4)
    assert (cleaned(whole) == whole).mean() > 0.999


def test_the_first_frame_of_a_shot_is_no_dust():
    grey = np.concatenate([scene(5), 255 - scene(6)])
    assert (apart(cleaned(grey), grey) > 0).mean() < 0.001


@pytest.mark.parametrize("shape", [(0, 48, 64), (1, 48, 64), (2, 48, 64), (5, 1, 1), (5, 2, 2), (5, 3, 3)])
def test_hardly_any_frames_and_hardly_any_picture_are_taken_as_they_come(shape: tuple[int, int, int]):
    grey = np.full(shape, 90, np.uint8)
    assert (cleaned(grey) == grey).all()
