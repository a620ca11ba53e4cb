"""Figures of quality against frames that a camera took, blurred, grained and damaged by known amounts.

Blur is scipy's Gaussian filter; grain is drawn with a known standard deviation; specks of dust are counted.
"""

from itertools import islice

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from relay.media.quality import Look, Luma, look_at, middle_of
from tests.references.pictures import clip, pictures


@pytest.fixture(scope="module")
def street(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> tuple[Luma, Luma, Luma]:
    """Three frames one after another, each softened a little so that the camera's own noise is gone."""
    cache = pytestconfig.cache
    movie = clip(cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("pictures"))
    greys = [frame.mean(axis=2) / 65535 for frame in islice(pictures(movie, 640, 272), 3)]
    one, two, three = (gaussian_filter(grey, 1.0).astype(np.float32) for grey in greys)
    return one, two, three


def alone(frame: Luma) -> Look:
    return look_at(frame, frame, frame)


def grained(frame: Luma, amount: float, seed: int = 1) -> Luma:
    return (frame + np.random.default_rng(seed).normal(0, amount, frame.shape)).astype(np.float32)


@pytest.mark.parametrize("amount", [0.005, 0.01, 0.03])
def test_grain_is_measured_as_it_was_drawn(street: tuple[Luma, Luma, Luma], amount: float):
    assert alone(grained(street[1], amount)).grain == pytest.approx(100 * amount, rel=0.15)


def test_each_further_blur_is_less_sharp_and_neither_grain_nor_a_paler_print_passes_for_sharpness(
    street: tuple[Luma, Luma, Luma],
):
    frame = street[1]
    falling = [alone(gaussian_filter(frame, width)).sharpness for width in (0.01, 1, 1.5, 2, 3)]
    assert falling == sorted(falling, reverse=True)
    assert falling[0] > 2 * falling[4]
    assert alone(grained(frame, 0.02)).sharpness == pytest.approx(falling[0], rel=0.1)
    assert alone(0.2 + 0.5 * frame).sharpness == pytest.approx(falling[0], rel=0.01)


def test_the_range_of_tones_is_where_two_in_a_hundred_lie_beyond(street: tuple[Luma, Luma, Luma]):
    low, high = np.percentile(street[1], (2, 98))
    found = alone(0.25 + 0.5 * street[1])
    assert (found.dark, found.light) == pytest.approx((25 + 50 * low, 25 + 50 * high), abs=0.2)


def test_specks_are_counted_and_movement_and_grain_are_not(street: tuple[Luma, Luma, Luma]):
    still = [grained(street[1], 0.004, seed) for seed in range(3)]
    draw = np.random.default_rng(5)
    rows, columns = (draw.integers(2, size - 2, 200) for size in street[1].shape)
    spoilt = still[1].copy()
    spoilt[rows, columns] = np.where(spoilt[rows, columns] > 0.5, 0.0, 1.0)
    planted = 1000 * len({*zip(rows.tolist(), columns.tolist(), strict=True)}) / spoilt.size
    assert look_at(still[0], spoilt, still[2]).damage == pytest.approx(planted, rel=0.1)
    assert look_at(*still).damage == 0
    assert look_at(*street).damage < planted / 3


def test_a_black_border_is_no_part_of_the_picture(street: tuple[Luma, Luma, Luma]):
    high, wide = street[1].shape
    framed = np.pad(street[1] + 0.06, ((high // 2, high // 2), (wide // 4, wide // 4)))
    found = alone(framed)
    assert found.high == pytest.approx(50, abs=1)
    assert found.wide == pytest.approx(100 / 1.5, abs=1)
    assert found.sharpness == pytest.approx(alone(street[1] + 0.06).sharpness, rel=0.05)


@pytest.mark.parametrize("tone", [0.0, 0.5, 1.0])
def test_an_empty_frame_has_no_sharpness_no_grain_and_no_damage(tone: float):
    found = alone(np.full((48, 64), tone, np.float32))
    assert (found.sharpness, found.grain, found.damage) == (0, 0, 0)


def test_the_middle_of_several_is_told_and_of_none_refused(street: tuple[Luma, Luma, Luma]):
    one = alone(street[0])
    assert middle_of([one, one._replace(grain=9.0), one]) == one
    with pytest.raises(ValueError, match="no frame"):
        middle_of([])
