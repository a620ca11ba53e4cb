"""Prints in step against invented prints: whatever is shown together shows the same frame of the lost original."""

from dataclasses import replace
from fractions import Fraction

import pytest

from relay.model import FrameRange
from relay.programme.beside import Lacks, after_of, along, in_step, part_of
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.framemap import FrameMap, Way, runs_of
from relay.programme.lacking import Print
from tests.unit.programme.test_lacking import A, B, C, counted, print_of, without


def test_what_is_shown_together_is_the_same_frame_and_every_frame_is_shown_once():
    a, b, c = counted(without((40, 49))), counted(without((10, 19)), first=500), counted(without((70, 79)), first=900)
    steps = in_step(print_of(A, a, {B: b, C: c}), (B, C), FrameRange(first=0, last=89))
    shown = [{number: frame for frame, number in each.items()} for each in (a, b, c)]
    for step in steps:
        told = {shown[lane][seen] for lane, seen in enumerate(step) if not isinstance(seen, Lacks)}
        assert len(told) == 1
    for lane, own in enumerate(shown):
        assert [seen for step in steps if not isinstance(seen := step[lane], Lacks)] == sorted(own)
    assert [step[0] for step in steps[40:50]] == [Lacks(place, 10) for place in range(1, 11)]
    part = part_of(print_of(A, a, {B: b, C: c}), (B, C), FrameRange(first=0, last=89))
    assert {after_of(part, at, 0) for at in range(40, 50)} == {39}
    assert {after_of(part, at, 1) for at in range(10, 20)} == {509}
    assert after_of(part_of(print_of(B, b, {A: a}), (A,), FrameRange(first=530, last=535)), 0, 1) is None


@pytest.mark.parametrize("with_room", [False, True])
def test_where_the_axis_lacks_frames_two_others_are_in_step_by_their_own_map_and_without_one_nobody_is_sure(with_room):
    a = counted(without((40, 59)), with_room=with_room)
    b, c = counted(without((42, 43)), first=500), counted(without((40, 40), (45, 54)), first=900)
    one, between = print_of(A, a, {B: b, C: c}), print_of(B, b, {C: c}).maps[C]
    one = replace(one, among={(B, C): between, (C, B): between.inverse()})
    part = part_of(one, (B, C), FrameRange(first=38, last=61 if with_room else 41))
    shown = [{number: frame for frame, number in each.items()} for each in (a, b, c)]
    told = [[shown[lane][seen] for lane, seen in enumerate(step) if not isinstance(seen, Lacks)] for step in part.steps]
    assert [set(each) for each in told] == [{frame} for frame in range(38, 62)]  # each together, in their order
    assert part.unsure == frozenset()
    alone = part_of(replace(one, among={}), (B, C), FrameRange(first=38, last=61 if with_room else 41))
    assert {(at, lane) for at, lane in alone.unsure if lane == 1} >= {(at, 1) for at in range(3, 10)}
    doubted = FrameMap(B, C, *(Way(runs_of((at, each._replace(sure=False)) for at, each in way.said()))
                               for way in (between.there, between.back)))  # fmt: skip
    part = part_of(
        replace(one, among={(B, C): doubted, (C, B): doubted.inverse()}), (B, C), FrameRange(first=38, last=61)
    )
    assert {(3, 1), (3, 2)} <= part.unsure


def test_what_a_map_is_not_sure_of_or_does_not_speak_of_is_marked_and_the_rest_is_not():
    a, b = counted(without((40, 44))), counted(without((10, 14)), first=500)
    wanted = FrameRange(first=0, last=94)
    assert part_of(print_of(A, a, {B: b}), (B,), wanted).unsure == frozenset()
    doubted = part_of(print_of(A, a, {B: b}, sure=False), (B,), wanted)
    assert doubted.unsure == {(at, 1) for at in range(100)}
    one = print_of(A, a, {B: b})
    silent = FrameMap(A, B, Way(one.maps[B].there.runs[:1]), one.maps[B].back)
    assert (50, 1) in part_of(Print(A, one.held, {B: silent}), (B,), wanted).unsure


def test_a_programme_has_a_lane_for_each_element_and_nothing_twice_where_its_shots_meet():
    a, b = counted(without((40, 49))), counted(without((70, 79)), first=500)
    prints = {"A/R01": print_of(A, a, {B: b}), "B/R01": print_of(B, b, {A: a})}
    speed = Fraction(24)
    events = (
        Event("A/R01", 35, 5, speed),
        Event("B/R01", 540, 10, speed),
        Event(SLATE, 0, 9, speed),
        Event("C/R01", 0, 9, speed),
        Event("A/R01", 40, 3, speed),
    )
    parts = along(CutList(speed, events), prints, "AB")
    assert [part.lanes for part in parts] == [(A, B)] * 3
    steps = [step for part in parts for step in part.steps]
    assert [step[1] for step in steps] == [*range(535, 553)]  # what B shows of it runs through
    assert [step[0] for step in steps] == [*range(35, 40), *(Lacks(at, 10) for at in range(1, 11)), 40, 41, 42]
    alone = along(CutList(speed, events[:1]), {"A/R01": Print(A, prints["A/R01"].held, {})}, "AB")
    assert alone[0].lanes == (A, None)
    assert [step[1] for step in alone[0].steps] == [Lacks(at, 5) for at in range(1, 6)]
    with pytest.raises(ValueError, match="the list shows B/R01"):
        along(CutList(speed, events), prints, "AC")


def test_prints_that_were_not_put_side_by_side_cannot_be_shown_in_step():
    with pytest.raises(ValueError, match="was not put beside"):
        in_step(print_of(A, counted(without()), {}), (B,), FrameRange(first=0, last=9))
