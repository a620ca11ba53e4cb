"""A detail that belongs to the film: flagged when it was cleaned away, let be when it was only graded and steadied.

Pictures and their treatment are invented (tests/references/kept_details.py); the counts are this project's own promise:
of 200 removed details of 12 x 12 pixels at 2K at least 95 % are flagged, and of 200 that are there at most 5 %.
"""

import numpy as np
import pytest
from scipy import ndimage

from relay.programme.crops import Pair, crops
from relay.programme.keeping import GONE, fitted, scores
from tests.references.kept_details import Case, case

SEEDS = 1000  # from here on no seed was looked at while the score was made


def is_flagged(case: Case) -> bool:
    """Answer whether most frames of the case are flagged."""
    laid = [fitted(one, two, case.box) for one, two in zip(case.before, case.after, strict=True)]
    return float(np.median(scores(laid, case.box))) >= GONE


def test_removed_details_are_flagged_and_kept_ones_are_not():
    assert [is_flagged(case(seed, is_cleaned=True, frames=3)) for seed in range(2)] == [True] * 2
    assert [is_flagged(case(seed, is_cleaned=False, frames=3)) for seed in range(2)] == [False] * 2


@pytest.mark.soak
def test_of_two_hundred_removed_details_95_in_100_are_flagged_and_5_in_100_of_those_that_are_there():
    removed = sum(is_flagged(case(seed, is_cleaned=True)) for seed in range(SEEDS, SEEDS + 200))
    kept = sum(is_flagged(case(seed, is_cleaned=False)) for seed in range(SEEDS, SEEDS + 200))
    print(f"flagged: {removed} of 200 removed, {kept} of 200 that are there")
    assert removed >= 190
    assert kept <= 10


def test_a_frame_is_laid_back_where_it_was_whatever_its_tones():
    one = case(7, is_cleaned=False, frames=1)
    moved = ndimage.shift(one.before[0], (4.3, -2.6), order=3, mode="reflect") ** 0.8 * 0.7 + 0.1
    laid = fitted(one.before[0], moved.astype(np.float32), one.box)
    inside = (slice(20, -20), slice(20, -20))
    assert np.abs(laid.picture[inside] - one.before[0][inside]).mean() < 0.01  # of a range of 1; grain is 0.01 to 0.03


def test_the_crops_show_the_worst_frames_before_and_after():
    from io import BytesIO

    from PIL import Image

    one = case(3, is_cleaned=True, frames=1)
    laid = fitted(one.before[0], one.after[0], one.box)
    pairs = [Pair(at, one.before[0], laid.picture, one.box, at / 10, is_flagged=at > 6) for at in range(12)]
    shown = Image.open(BytesIO(crops("A/R01/v2, entry 9", pairs)))
    assert shown.width > 600
    with pytest.raises(ValueError, match="nothing to show"):
        crops("none", [])
