"""Coverage against invented prints of which the truth is known, and its two pictures against other readers."""

import io
from itertools import combinations
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image, ImageFont

from relay.model import FrameRange, VersionName
from relay.programme.coverage import About, Covered, Insert, Stretch, Strip, covered, level_of
from relay.programme.coverage_picture import coverage_png, coverage_svg
from relay.programme.coverage_shapes import LEFT, RIGHT, WIDE, Box, Mark, Words, across, shapes_of, ticks
from tests.unit.programme.test_lacking import A, B, C, counted, print_of, without

KINDS = {A: About("projection print"), B: About("duplicate negative, second"), C: About("original negative")}


def test_what_no_print_holds_and_what_the_axis_has_no_number_for_are_told() -> None:
    a = counted(without((40, 49), (60, 69)), with_room=True)
    b = counted(without((40, 49)), first=500)
    found = covered(print_of(A, a, {B: b}), KINDS)
    assert found.nowhere == (FrameRange(first=40, last=49),)
    own, other = found.strips
    assert own.share(found.axis) == 0.8
    assert other.share(found.axis) == 0.9
    short = covered(print_of(A, counted(without((40, 49))), {B: b, C: counted(without((90, 99)))}), KINDS)
    assert short.strips[2].inserts == ((39, 10),)
    assert short.nowhere == ()


def test_what_a_map_is_not_sure_of_is_told_apart() -> None:
    found = covered(print_of(A, counted(without()), {B: counted(without((10, 19)))}, sure=False), KINDS)
    assert {each.holding for each in found.strips[1].stretches} == {"not sure"}
    partly = covered(print_of(A, counted(without((40, 49)), with_room=True), {B: counted(without((45, 49)))}), KINDS)
    assert (FrameRange(first=40, last=49), "not sure") in partly.strips[1].stretches
    assert partly.nowhere == ()


def test_levels_follow_the_kind_and_an_unknown_kind_is_a_print() -> None:
    found = covered(print_of(A, counted(without()), {B: counted(without()), C: counted(without())}), KINDS)
    assert [each.level for each in found.strips] == ["print", "copy", "negative"]  # whatever their generation
    assert level_of("a kind of its own") == "print"


def test_both_pictures_show_a_gap_where_it_lies_and_tell_levels_apart_without_colour() -> None:
    a, b, c = counted(without((40, 59)), with_room=True), counted(without()), counted(without())
    reels = [covered(print_of(A, a, {B: b, C: c}), KINDS)]
    shapes = shapes_of(reels, "Film")[0]
    legend, drawn = (list(each) for each in split([each for each in shapes if isinstance(each, Box)]))
    (gap,) = [each for each in drawn if each.look == "lacking"]
    assert (gap.x - LEFT) / (WIDE - LEFT - RIGHT) == pytest.approx(0.4)
    root = ET.fromstring(coverage_svg(reels, "Film <&> \x1b[2J"))
    told = [each for each in root.iter("{http://www.w3.org/2000/svg}rect") if "url" in each.get("fill", "")]
    assert str(gap.x) in {each.get("x") for each in told if each.get("fill") == "url(#lacking)"}
    grey = greys(reels)
    looks = {each.look: inside(grey, each) for each in drawn}
    assert {each for each in looks if looks[each].std() < 1} == {"lacking", "negative"}  # an empty one, a full one
    assert min(np.diff(sorted(float(np.median(each)) for each in looks.values()))) > 20
    every = {each.look: inside(grey, each) for each in legend}
    assert len(every) == 8
    marks = {look: (float(np.median(each)), float(each.std())) for look, each in every.items()}
    for one, other in combinations(set(marks) - {"nowhere"}, 2):  # that stands alone, on a line of its own
        assert np.abs(np.subtract(marks[one], marks[other])).max() > 10, (one, other)


def split(boxes: list[Box]) -> tuple[list[Box], list[Box]]:
    return [each for each in boxes if each.wide == 30], [each for each in boxes if each.wide != 30]


def greys(reels: list[Covered]) -> np.ndarray:
    with Image.open(io.BytesIO(coverage_png(reels, "Film", by=1))) as picture:
        return np.asarray(picture.convert("L"), float)


def inside(grey: np.ndarray, box: Box) -> np.ndarray:
    return grey[int(box.y) + 2 : int(box.y + box.high) - 2, int(box.x) + 2 : int(box.x + box.wide) - 2]


LONG = Covered(
    VersionName("A/R01/v1"),
    FrameRange(first=0, last=19_999),
    tuple(
        Strip(
            VersionName(name), "projection print, made of a duplicate negative of a print, third", "print",
            tuple(Stretch(FrameRange(first=first, last=last), holding) for first, last, holding in (
                (0, at - 1, "held"), (at, at, "lacking"), (at + 1, 9_999, "held"), (10_000, 10_000, "not sure"),
                (10_001, 19_999, "held"),
            )),
            (Insert(12_000, 14), Insert(12_100, 1), Insert(19_999, 230)),
            title="The print from the north, which has the harbour",
        )
        for name, at in (("A/R01/v1", 5_000), (f"{'NORTH-HARBOUR-STREET-2ND'}/{'R01-SECOND-SCAN-WETGATE'}/v12", 7_000))
    ),
    (FrameRange(first=777, last=777),),
)  # fmt: skip


def test_one_frame_of_twenty_thousand_is_seen_marked_and_never_told_as_nothing() -> None:
    shapes, grey = shapes_of([LONG], "Film")[0], greys([LONG])
    lacking = [each for each in shapes if isinstance(each, Box) and each.look == "lacking" and each.wide != 30]
    assert [each.wide >= 2 for each in lacking] == [True, True]
    for box in lacking:
        middle = grey[int(box.y + 10) : int(box.y + 30), int(box.x) - 6 : int(box.x) + 8]
        assert np.ptp(np.median(middle, axis=0)) > 80  # a line that is far from what is around it
    marks = [each.x for each in shapes if isinstance(each, Mark)][1:]  # the first explains them
    assert marks == [pytest.approx(across(frame, LONG.axis), abs=1.1) for frame in (5_000, 7_000, 777)]
    assert coverage_svg([LONG], "Film").count("<polygon") == 4
    words = [each.text for each in shapes if isinstance(each, Words)]
    assert words.count("holds over 99.9 %, lacks 1 frame, not sure of 1") == 2
    assert "in no print: 1 frame" in words
    assert words.count("+15 in 2 places") == words.count("+230") == 2


def test_no_words_run_into_the_strips_or_off_the_page() -> None:
    # measured by Pillow's own face, which is the one that the PNG is written with
    for shape in shapes_of([LONG], "A film whose title is as long as its story " * 4)[0]:
        if isinstance(shape, Words):
            ends = shape.x + ImageFont.load_default(shape.size).getlength(shape.text)
            is_beside = shape.x == 16 and shape.y > 150  # under the legend
            assert ends <= (LEFT if is_beside else WIDE), shape.text


@pytest.mark.parametrize(("first", "last", "told"), [
    (0, 16_319, [*range(0, 16_001, 2_000)]), (0, 239, [0, 50, 100, 150, 200]), (-12, 7, [-10, -5, 0, 5]),
    (86_400, 86_400, [86_400]),
])  # fmt: skip
def test_an_axis_is_told_in_round_numbers(first: int, last: int, told: list[int]) -> None:
    assert ticks(FrameRange(first=first, last=last)) == told
