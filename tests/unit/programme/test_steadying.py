"""Weave is taken out as far as a shot shows it, and what lies beyond a gap shows nothing of it.

Drawn shots, whose weave is known: thumbnails of 64 by 48, weave of half a thumbnail pixel (one standard deviation).
"""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift

from relay.programme.alignment.pictures import Framing
from relay.programme.alignment.steadying import breaks, steadied
from relay.programme.alignment.walking import NONE

WHOLE = Framing().is_inside()
NOWHERE = np.zeros(0, np.int64)


def ground(seed: int, wide: int = 64) -> np.ndarray:
    rough = gaussian_filter(np.random.default_rng(seed).normal(size=(48, wide)), 2)
    return 128 + 60 * rough / rough.std()


def woven(seed: int, frames: int) -> np.ndarray:
    """Return frames of a still scene, each pushed a little, one corner of it stained more and more."""
    rng, still = np.random.default_rng(seed), ground(seed)
    pushed = np.array([shift(still, rng.normal(0, 0.5, 2), mode="nearest") for _ in range(frames)])
    pushed[:, :20, :25] *= np.linspace(1, 0.4, frames)[:, None, None]
    return np.clip(pushed, 0, 255).astype(np.uint8)


def pictures(grey: np.ndarray, broken: np.ndarray = NOWHERE) -> np.ndarray:
    return steadied(grey, Framing(), broken, WHOLE).pictures


def unrest(pictures: np.ndarray) -> float:
    """Return how much places change from one frame to the next but eight, away from the stained corner."""
    clear = pictures.reshape(-1, 24, 32)[:, 12:, 15:]
    return float(np.abs(clear[8:] - clear[:-8]).mean())


@pytest.mark.parametrize("seed", range(3))
def test_a_still_camera_is_held_against_its_whole_shot_whatever_stains_a_corner(seed: int):
    grey = woven(seed, 60)
    alone = np.concatenate([pictures(grey[at : at + 19]) for at in range(0, 57, 19)])
    assert unrest(pictures(grey)) < 0.6 * unrest(alone)  # nineteen are too few to say


def test_frames_beside_a_gap_look_like_their_matches_though_the_camera_moves_on():
    wide = ground(5, 400)
    pan = np.array([shift(wide, (0, -0.3 * at), order=1)[:, :64] for at in range(120)]).clip(0, 255).astype(np.uint8)
    kept = np.delete(np.arange(120), range(50, 58))
    walk = np.full(120, NONE)
    walk[kept] = np.arange(len(kept))
    cut_here, cut_there = breaks(walk)
    assert cut_here.tolist() == [50, 58]
    assert cut_there.tolist() == [50]

    def apart(there: np.ndarray) -> float:
        here = pictures(pan, cut_here)
        return float(np.abs(here[kept[44:56]] - pictures(pan[kept], there)[44:56]).mean())

    assert apart(cut_there) < 0.2 * apart(NOWHERE)


def test_a_walk_that_repeats_or_jumps_back_breaks_nothing_and_a_few_frames_neither():
    assert [each.tolist() for each in breaks(np.array([0, 1, 2, 2, 3, 5, 6, 0, 1, NONE, NONE, 2]))] == [[], []]
    assert [each.tolist() for each in breaks(np.full(5, NONE))] == [[], []]


def test_a_stain_counts_little_where_and_when_it_lies_over_a_still_scene():
    grey = np.repeat(ground(7)[None], 60, axis=0)
    grey *= np.linspace(0.8, 1.2, 60)[:, None, None]  # a lamp that wanes: exposure is no stain
    grey[40:, :20, :25] *= 0.5
    clear = steadied(grey.clip(0, 255).astype(np.uint8), Framing(), NOWHERE, WHOLE).clear.reshape(-1, 24, 32)

    assert clear[40:, 2:8, 2:10].max() < 0.3
    assert clear[:40, 2:8, 2:10].min() > 0.8
    assert clear[:, 14:-2, 17:-2].min() > 0.8


def test_nothing_is_said_of_stains_where_the_camera_moves():
    wide = ground(5, 400)
    pan = np.array([shift(wide, (0, -0.8 * at), order=1)[:, :64] for at in range(60)]).clip(0, 255).astype(np.uint8)
    assert (steadied(pan, Framing(), NOWHERE, WHOLE).clear == 1).all()
