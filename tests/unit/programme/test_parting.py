"""Where picture and sound part, and how that is drawn."""

from fractions import Fraction
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.cadence import drift
from relay.programme.drawing import APART, IN_STEP, letters, svg
from relay.programme.parting import parting
from relay.programme.running import Scene

RATE = Fraction(24)


def scene(name: str, frames: int, speed: int = 18, until: float | None = None) -> Scene:
    return Scene(name, frames, Fraction(speed), None if until is None else Fraction(until))


def test_a_thousand_feet_at_18_against_a_sound_for_16_part_by_the_difference_of_both_published_times():
    # 14:48.889 against 16:40 is 111 1/9 s: run, from ISO 491 (16 frames a foot)
    found = parting([scene("reel", 16_000)], Fraction(1000), RATE, Fraction(1))
    assert found.points[-1].behind == -Fraction(1000, 9) * 24 == drift(16_000, Fraction(18), Fraction(1000), RATE)
    assert found.stretches[0].named == (16,)
    assert found.stretches[0].exact() == 16


def test_they_part_at_the_very_place_where_the_tolerance_is_passed():
    scenes = [scene("letter", 180, until=10), scene("ferry", 198, until=20), scene("storm", 180)]
    found = parting(scenes, Fraction(30), RATE, Fraction(2))
    assert [point.behind for point in found.points] == [0, 0, 24, 24]
    # the ferry is 11 s long instead of 10: 2 frames late after 11 x 2 / 24 s of it
    assert found.parts_at() == 10 + Fraction(22, 24)
    assert found.behind_at(Fraction(31, 2)) == 12
    assert not found.is_in_step()


def test_the_speeds_that_fit_are_told_of_each_stretch_and_fit():
    scenes = [scene("letter", 180, until=10), scene("ferry", 198), scene("storm", 180, until=20)]
    found = parting(scenes, Fraction(20), RATE, Fraction(1))
    one, two = found.stretches
    assert (one.off, one.named) == (0, (18,))
    assert [each.scene.name for each in two.scenes] == ["ferry", "storm"]
    assert two.span is None  # 378 frames in 10 s
    assert two.exact() == Fraction(378, 10)


@given(st.lists(st.tuples(st.integers(20, 300), st.sampled_from([16, 18, 20, 24])), min_size=1, max_size=6))
def test_scenes_brought_to_their_exact_speed_are_in_step(given_scenes: list[tuple[int, int]]):
    made = [scene("s", frames, speed) for frames, speed in given_scenes]
    sound = sum(Fraction(frames, 20) for frames, _ in given_scenes)
    found = parting(made, sound, RATE, Fraction(1, 2))
    again = [Scene("s", each.frames, found.stretches[0].exact()) for each in made]
    assert parting(again, sound, RATE, Fraction(0)).is_in_step()


@pytest.mark.parametrize(
    ("scenes", "sound"),
    [
        ([], 10),
        ([scene("a", 10)], 0),
        ([scene("a", 10, until=11)], 10),
        ([scene("a", 10, until=5), scene("b", 10, until=5)], 10),
    ],
)
def test_a_plan_that_cannot_be_is_refused(scenes: list[Scene], sound: int):
    with pytest.raises(ValueError, match="expected"):
        parting(scenes, Fraction(sound), RATE, Fraction(1))


def test_the_drawing_rises_where_the_picture_is_late_and_is_plain_where_it_is_in_step():
    late = parting([scene("a", 180, until=10), scene("b", 198, until=20)], Fraction(20), RATE, Fraction(1))
    rows = [marks for _, marks in letters(late)]
    upper = ["".join(mark.text for mark in marks) for marks in rows[:4]]
    assert APART in upper[-1]
    assert APART not in "".join("".join(mark.text for mark in marks) for marks in rows[5:9])
    assert upper[-1].strip()[0] in {IN_STEP, APART}
    right = parting([scene("a", 180)], Fraction(10), RATE, Fraction(1))
    assert not any(mark.is_apart for _, marks in letters(right) for mark in marks)


def test_the_svg_is_well_formed_and_marks_the_place_where_they_part():
    found = parting([scene("<b>&", 198)], Fraction(10), RATE, Fraction(1))
    page = ET.fromstring(svg(found, "ferry\x1b[31m"))
    words = [each.text for each in page.iter("{http://www.w3.org/2000/svg}text")]
    assert "<b>&" in words
    assert "parts at 0:00.458" in words
    assert "ferry\\x1b[31m" in words
