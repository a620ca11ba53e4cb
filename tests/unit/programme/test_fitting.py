"""A 1,000 ft reel of 35 mm, 16,000 frames, lasts 16 min 40 s at 16 fps ("Silent Film Speed", 1955)."""

from fractions import Fraction

import pytest

from relay.programme.fitting import Span, fitting_speeds


def test_the_published_reel_fits_its_published_time_at_16_only():
    assert fitting_speeds(16_000, Fraction(1000), Fraction(0)) == Span(Fraction(16), Fraction(16))


def test_at_both_ends_of_the_span_the_scene_is_off_by_the_tolerance():
    slow, fast = fitting_speeds(16_000, Fraction(1000), Fraction(2))
    assert (16_000 / slow, 16_000 / fast) == (1002, 998)


@pytest.mark.parametrize(("frames", "seconds", "tolerance"), [(0, 10, 1), (10, 0, 0), (10, 5, 5), (10, 5, -1)])
def test_what_cannot_be_fitted_is_refused(frames: int, seconds: int, tolerance: int):
    with pytest.raises(ValueError, match="cannot be fitted"):
        fitting_speeds(frames, Fraction(seconds), Fraction(tolerance))
