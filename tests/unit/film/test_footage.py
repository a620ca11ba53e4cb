from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.footage import (
    feet_of,
    first_frame_of,
    format_footage,
    frames_in_feet,
    frames_in_metres,
    metres_of,
    parse_footage,
)
from relay.film.gauges import GAUGES
from relay.film.rates import frames_in_time
from tests.references import film_figures as figures

MM35 = GAUGES["35mm"]
gauges = st.sampled_from(list(GAUGES.values()))
frames = st.integers(-10_000_000, 10_000_000)


@given(frame=frames, gauge=gauges)
def test_a_frame_is_read_back_from_its_footage(frame, gauge):
    assert parse_footage(format_footage(frame, gauge), gauge) == frame


@pytest.mark.parametrize("gauge", GAUGES.values(), ids=lambda gauge: gauge.name)
def test_footages_follow_each_other_without_a_hole_or_a_double(gauge):
    shown = [format_footage(frame, gauge) for frame in range(-300, 300)]
    assert len(set(shown)) == len(shown)
    for earlier, later in pairwise(shown[300:]):
        feet, number = map(int, earlier.split("+"))
        assert later in {f"{feet}+{number + 1:02d}", f"{feet + 1}+00"}


@given(foot=st.integers(-10_000, 10_000), gauge=gauges)
def test_a_foot_begins_with_the_first_frame_at_or_after_it(foot, gauge):
    first = first_frame_of(foot, gauge)
    assert feet_of(first - 1, gauge) < foot <= feet_of(first, gauge)


@pytest.mark.parametrize(
    ("name", "turn"),
    # 64 frames in three feet of 3 perforations, 41 in two feet of 28 mm, 64 in five feet of 70 mm: figures above.
    [
        ("35mm-3perf", [22, 21, 21]),
        ("28mm", [21, 20]),
        ("70mm", [13, 13, 13, 13, 12]),
        ("35mm", [16]),
        ("super8", [72]),
    ],
)
def test_uneven_feet_take_turns_and_add_up(name, turn):
    gauge = GAUGES[name]
    held = [first_frame_of(foot + 1, gauge) - first_frame_of(foot, gauge) for foot in range(-len(turn), 2 * len(turn))]
    assert held == turn * 3
    assert sum(turn) == gauge.frames_per_foot * len(turn)


@pytest.mark.parametrize(
    ("frame", "shown"), [(0, "0+00"), (7, "0+07"), (15, "0+15"), (16, "1+00"), (2007, "125+07"), (16_000, "1000+00")]
)
def test_35_mm_counts_sixteen_to_the_foot_as_people_write_it(frame, shown):
    assert format_footage(frame, MM35) == shown  # 16 to the foot: "Filmfuss", citing ISO 491; the form: common practice
    assert parse_footage(shown, MM35) == frame


def test_the_start_mark_of_a_leader_lies_twelve_feet_ahead_of_the_picture():
    # "16mm Film Cutting": "picture start" stands 192 frames ahead of the first scene, the numbers 16 frames apart.
    assert format_footage(-192, MM35) == "-12+00"
    assert parse_footage("-12+00", MM35) == -192
    assert [format_footage(192 - 16 * number, MM35) for number in (11, 10, 3)] == ["1+00", "2+00", "9+00"]


@pytest.mark.parametrize(("frame", "shown"), [(-1, "-0+01"), (-15, "-0+15"), (-16, "-1+00"), (-17, "-1+01")])
def test_a_frame_ahead_of_the_mark_reads_as_its_distance_to_it(frame, shown):
    assert format_footage(frame, MM35) == shown
    assert parse_footage(shown, MM35) == frame


def test_leading_zeros_and_spaces_do_not_matter():
    assert parse_footage(" 0125+7 ", MM35) == parse_footage("125+07", MM35) == 2007


@pytest.mark.parametrize(
    "text", ["", "125", "125+", "+07", "125-07", "1.5+00", "125+07+1", "--1+00", "٣+00", "1 + 0", "1+0000"]
)
def test_what_is_no_footage_is_refused(text):
    with pytest.raises(ValueError, match="is not a footage: expected"):
        parse_footage(text, MM35)


@pytest.mark.parametrize(
    ("name", "text", "last"),
    [
        ("35mm", "125+16", 15),
        ("16mm", "3+40", 39),
        ("35mm-3perf", "1+21", 20),
        ("28mm", "1+20", 19),
        ("70mm", "4+12", 11),
    ],
)
def test_a_frame_that_a_foot_does_not_hold_is_refused(name, text, last):
    with pytest.raises(ValueError, match=f"holds frames 00 to {last}$"):
        parse_footage(text, GAUGES[name])


@pytest.mark.parametrize(("name", "feet"), figures.FEET_OF_100_MINUTES.items())
def test_a_hundred_minutes_of_sound_film_take_the_published_feet(name, feet):
    picture = frames_in_time(100 * 60, Fraction(24))
    assert feet_of(int(picture), GAUGES[name]) == feet


def test_ninety_minutes_of_35_mm_are_2469_metres():
    # Encyclopaedia article "Filmlaenge": 90 minutes at 24 frames a second, about 2469 metres.
    assert round(metres_of(90 * 60 * 24, MM35)) == 2469


@pytest.mark.parametrize(("name", "frames_a_metre"), [("8mm", "262.5"), ("super8", "236.2")])
def test_a_metre_of_small_gauge_holds_the_published_frames(name, frames_a_metre):
    # A lab's published conversion for Double 8 and Super 8, to one place: L = frames / 262.5 and frames / 236.2.
    assert round(frames_in_metres(1, GAUGES[name]), 1) == Fraction(frames_a_metre)


@given(count=frames, gauge=gauges)
def test_lengths_turn_back_into_the_same_frames(count, gauge):
    assert frames_in_feet(feet_of(count, gauge), gauge) == count
    assert frames_in_metres(metres_of(count, gauge), gauge) == count


@given(count=st.integers(0, 1_000_000), shrinkage=st.fractions(0, Fraction(99, 1000)), gauge=gauges)
def test_the_frames_of_shrunken_film_do_not_change_only_their_feet(count, shrinkage, gauge):
    measured = feet_of(count, gauge) * (1 - shrinkage)
    assert frames_in_feet(measured, gauge, shrinkage) == count


def test_one_perforation_short_in_a_hundred_is_one_per_cent():
    # A transfer-preparation guide: film is 1 % shrunken where 100 of its perforations reach only 99 of a fresh one's.
    length_of_99_fresh_perforations = Fraction(99, figures.PERFORATIONS_PER_FOOT_35MM)
    held = frames_in_feet(length_of_99_fresh_perforations, MM35, Fraction(1, 100))
    assert held * MM35.perforations_per_frame == 100


@pytest.mark.parametrize("shrinkage", [Fraction(-1, 100), Fraction(1, 10), 1, Fraction(3, 2)])
def test_a_shrinkage_that_no_film_survives_is_refused(shrinkage):
    with pytest.raises(ValueError, match="such as 1/100 for 1 %"):
        frames_in_feet(1, MM35, shrinkage)
    with pytest.raises(ValueError, match="such as 1/100 for 1 %"):
        frames_in_metres(1, MM35, shrinkage)
