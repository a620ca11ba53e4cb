"""A 1,000 ft reel of 35 mm, 16,000 frames, lasts 16 min 40 s at 16 fps ("Silent Film Speed", 1955)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.programme.fitting import Mixture, Span, fitting_speeds, mixtures, named_in, simplest_in, within


def test_the_published_reel_fits_its_published_time_at_16_only():
    assert fitting_speeds(16_000, Fraction(1000), Fraction(0)) == Span(Fraction(16), Fraction(16))


def test_at_both_ends_of_the_span_the_scene_is_off_by_the_tolerance():
    slow, fast = fitting_speeds(16_000, Fraction(1000), Fraction(2))
    assert (16_000 / slow, 16_000 / fast) == (1002, 998)


@pytest.mark.parametrize(("frames", "seconds", "tolerance"), [(0, 10, 1), (10, 0, 0), (10, 5, 5), (10, 5, -1)])
def test_what_cannot_be_fitted_is_refused(frames: int, seconds: int, tolerance: int):
    with pytest.raises(ValueError, match="cannot be fitted"):
        fitting_speeds(frames, Fraction(seconds), Fraction(tolerance))


def test_mixed_speeds_last_as_long_as_the_sound_to_the_nearest_frame():
    found = mixtures([16_000], Fraction(930), Fraction(1, 24))
    assert [(each.first, each.then) for each in found] == [(16, Fraction(200, 11)), (17, 18)]
    for each in found:
        lasts = each.before / each.first + (16_000 - each.before) / each.then
        assert lasts - 930 == each.off
        assert abs(each.off) <= (1 / each.first - 1 / each.then) / 2


def test_speeds_change_where_one_scene_ends_if_that_fits():
    # 160 frames at 16 are 10 s, 200 frames at 200/11 are 11 s
    seconds = Fraction(21)
    assert mixtures([160, 200], seconds, Fraction(1, 48))[0] == Mixture(
        160, Fraction(16), Fraction(200, 11), Fraction(0)
    )
    elsewhere = mixtures([100, 260], seconds + Fraction(1, 4), Fraction(1, 48))[0]
    assert elsewhere.before not in {100, 260}


@pytest.mark.parametrize("frames", [13 * 60, 16 * 60, 25 * 60])
def test_nothing_is_mixed_where_one_named_speed_fits_or_none_from_14_to_24_does(frames: int):
    assert mixtures([frames], Fraction(60), Fraction(0)) == ()


def test_the_named_speeds_of_a_span_hold_the_archive_rates():
    assert named_in(Span(Fraction(17), Fraction(22))) == (
        17, 18, Fraction(200, 11), 19, 20, 21, Fraction(240, 11), 22,
    )  # fmt: skip  # SMPTE ST 428-21


def test_only_speeds_from_14_to_24_are_looked_at():
    assert within(Span(Fraction(10), Fraction(30))) == Span(Fraction(14), Fraction(24))
    assert within(Span(Fraction(10), Fraction(13))) is None


@given(st.fractions(14, 24, max_denominator=500), st.fractions(0, 1, max_denominator=500))
def test_the_simplest_speed_has_the_smallest_denominator_of_all_that_fit(slowest: Fraction, more: Fraction):
    span = Span(slowest, slowest + more)
    found = simplest_in(span)
    assert span.slowest <= found <= span.fastest
    below = found.denominator - 1
    assert not below or all(-(-span.slowest * under // 1) > span.fastest * under // 1 for under in range(1, below + 1))
