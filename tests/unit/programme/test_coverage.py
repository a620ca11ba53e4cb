"""Coverage against invented prints of which the truth is known, and its two pictures against other readers."""

import io
from xml.etree import ElementTree as ET

import numpy as np
from PIL import Image

from relay.model import FrameRange
from relay.programme.coverage import About, covered, level_of
from relay.programme.coverage_picture import LEFT, RIGHT, WIDE, Box, coverage_png, coverage_svg, shapes_of
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
    (gap,) = [each for each in shapes_of(reels, "Film")[0] if isinstance(each, Box) and each.look == "lacking"][1:]
    assert (gap.x - LEFT) / (WIDE - LEFT - RIGHT) == 0.4
    root = ET.fromstring(coverage_svg(reels, "Film <&> \x1b[2J"))
    drawn = [each for each in root.iter("{http://www.w3.org/2000/svg}rect") if "url" in each.get("fill", "")]
    assert str(gap.x) in {each.get("x") for each in drawn if each.get("fill") == "url(#lacking)"}
    with Image.open(io.BytesIO(coverage_png(reels, "Film", by=1))) as picture:
        grey = np.asarray(picture.convert("L"), float)
    boxes = [each for each in shapes_of(reels, "Film")[0] if isinstance(each, Box)][7:]
    looks = {
        each.look: grey[int(each.y) + 2 : int(each.y + each.high) - 2, int(each.x) + 2 : int(each.x + each.wide) - 2]
        for each in boxes
    }
    assert {each for each in looks if looks[each].std() < 1} == {"lacking", "negative"}  # an empty one, a full one
    tones = sorted(float(np.median(each)) for each in looks.values())
    assert min(np.diff(tones)) > 20
