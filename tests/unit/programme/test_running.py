"""Scenes in their places, against opentime and the published patterns."""

from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.rates import ARCHIVE_RATES
from relay.programme.running import Scene, frame_list, lay_out, nearest_frame

RATES = st.sampled_from([Fraction(24), Fraction(25), Fraction(24000, 1001)])
SPEEDS = st.sampled_from([*map(Fraction, range(14, 25)), *ARCHIVE_RATES.values(), Fraction(1001, 60)])
SCENES = st.lists(st.builds(Scene, st.just("s"), st.integers(1, 150), SPEEDS), min_size=1, max_size=8)


@pytest.mark.parametrize(
    ("speed", "pattern"),
    [
        (16, [2, 1]),  # every second frame twice: abstract of a handbook chapter on extending action
        (18, [2, 1, 1]),  # run: floor(k x from / to)
        (20, [2, 1, 1, 1, 1]),
        (24, [1]),
    ],
)
def test_the_published_pattern_is_kept_whichever_frame_of_it_comes_first(speed: int, pattern: list[int]):
    (laid,) = lay_out([Scene("ferry", 60, Fraction(speed))], Fraction(24))
    found = list(laid.repeats())
    turns = [pattern[at:] + pattern[:at] for at in range(len(pattern))]
    assert any(found == turn * (60 // len(pattern)) for turn in turns)


@pytest.mark.parametrize(("speed", "frames"), [(16, 24_000), (18, 21_333), (20, 19_200)])
def test_a_thousand_feet_fill_as_many_frames_as_their_published_running_time(speed: int, frames: int):
    # 16:40, 14:48.889 and 13:20 at 24 frames a second: "Silent Film Speed" (1955) for 16, the others run from ISO 491
    (laid,) = lay_out([Scene("reel", 16_000, Fraction(speed))], Fraction(24))
    assert laid.length == frames


@given(SCENES, RATES)
def test_no_change_of_speed_costs_or_gains_more_than_half_a_frame(scenes: list[Scene], rate: Fraction):
    laid = lay_out(scenes, rate)
    at = 0
    for each in laid:
        assert each.first == at
        assert abs(each.first - each.begins * rate) <= Fraction(1, 2)
        at += each.length
    assert abs(at - laid[-1].ends() * rate) <= Fraction(1, 2)


@given(SCENES, RATES)
def test_every_frame_of_the_programme_shows_what_the_film_shows_in_its_middle(scenes: list[Scene], rate: Fraction):
    laid = lay_out(scenes, rate)
    for place, row in enumerate(frame_list(laid)):
        film = (Fraction(2 * place + 1, 2) / rate - laid[row.scene].begins) * scenes[row.scene].speed
        assert 0 <= row.frame <= film < row.frame + 1 <= scenes[row.scene].frames


@given(st.integers(1, 100_000), SPEEDS, RATES)
def test_a_scene_is_as_long_as_opentime_says_to_the_nearest_frame(frames: int, speed: Fraction, rate: Fraction):
    (laid,) = lay_out([Scene("s", frames, speed)], rate)
    exact = otio.opentime.RationalTime(frames, float(speed)).value_rescaled_to(float(rate))
    assert abs(laid.length - exact) <= 0.5 + 1e-6


def test_rounding_each_scene_by_itself_would_have_drifted():
    scenes = [Scene("s", 25, Fraction(18))] * 30  # 33 1/3 frames each
    laid = lay_out(scenes, Fraction(24))
    assert sum(each.length for each in laid) == 1000
    assert sum(nearest_frame(each.scene.lasts(), Fraction(24)) for each in laid) == 990


def test_a_scene_without_frames_is_refused():
    with pytest.raises(ValueError, match="'ferry' has 0 frames"):
        Scene("ferry", 0, Fraction(18))
