"""Frame lists and their check, against the published rule for stretching."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.model import FrameRange, ReelName, merged, ranges_of
from relay.programme.cutlist import SLATE, CutList, Event, Shown, Wrong, conform

A, B = ReelName("A/R01"), ReelName("B/R02")
EVENTS = st.builds(
    Event,
    st.sampled_from((A, B)),
    st.integers(-50, 5000),
    st.integers(1, 80),
    st.sampled_from([Fraction(0), Fraction(16), Fraction(200, 11), Fraction(20), Fraction(24), Fraction(30)]),
    st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(2, 3)]),
)
LISTS = st.builds(CutList, st.sampled_from([Fraction(24), Fraction(25)]), st.lists(EVENTS, max_size=8).map(tuple))


@pytest.mark.parametrize(
    ("speed", "shown"),
    [
        (16, [0, 0, 1, 2, 2, 3]),  # every second frame twice: abstract of a handbook chapter on extending action
        (18, [0, 0, 1, 2, 3, 3]),  # 2,1,1: run, floor(k x from / to)
        (0, [0] * 6),
    ],
)
def test_an_event_repeats_frames_as_the_published_pattern_says(speed: int, shown: list[int]):
    found = Event(A, 100, 6, Fraction(speed)).shown(Fraction(24))
    assert [each.frame - 100 for each in found] == shown


def test_what_a_list_needs_is_what_it_shows_once():
    cut = CutList(Fraction(24), (Event(A, 10, 6, Fraction(16)), Event(A, 12, 3, Fraction(24))))
    assert cut.needed() == {A: (FrameRange(first=10, last=14),)}


@given(LISTS)
def test_what_a_list_needs_by_ranges_is_what_it_shows_frame_by_frame(cut: CutList):
    frames: dict[ReelName, set[int]] = {}
    for reel, frame in cut.shown():
        frames.setdefault(reel, set()).add(frame)
    assert cut.needed() == {reel: ranges_of(found) for reel, found in frames.items()}


def test_a_shot_cut_within_its_pattern_goes_on_where_the_pattern_was():
    whole = [each.frame for each in Event(A, 0, 60, Fraction(16)).shown(Fraction(24))]
    rest = Event(A, 2, 56, Fraction(16), into=Fraction(2, 3))  # 4 frames of the programme are 2 2/3 of the reel
    assert [each.frame for each in rest.shown(Fraction(24))] == whole[4:]


def test_a_shot_that_is_dissolved_from_is_needed_to_the_end_of_the_dissolve():
    cut = CutList(Fraction(24), (Event(A, 10, 6, Fraction(24)), Event(B, 0, 12, Fraction(24), dissolve=4)))
    assert cut.needed() == {A: (FrameRange(first=10, last=19),), B: (FrameRange(first=0, last=11),)}


def test_a_slate_needs_no_film():
    assert CutList(Fraction(24), (Event(SLATE, 0, 48, Fraction(24), title="The ferry"),)).needed() == {}


def test_ranges_are_joined_where_they_are_near():
    assert [str(each) for each in merged([(20, 30), (1, 4), (6, 9), (25, 26)], near=1)] == ["1-9", "20-30"]


@given(LISTS)
def test_what_is_returned_as_the_list_says_conforms(cut: CutList):
    assert conform(cut, dict(enumerate(cut.shown()))) == ()


@given(LISTS.filter(lambda cut: cut.length() > 0), st.data())
def test_a_frame_that_is_missing_or_another_is_named_by_its_place(cut: CutList, data: st.DataObject):
    returned = dict(enumerate(cut.shown()))
    place = data.draw(st.integers(0, cut.length() - 1))
    right = returned.pop(place)
    assert conform(cut, returned) == (Wrong(place, right, None),)
    other = Shown(right.reel, right.frame + 1)
    assert conform(cut, {**returned, place: other}) == (Wrong(place, right, other),)


def test_a_frame_too_many_is_named():
    cut = CutList(Fraction(24), (Event(A, 0, 1, Fraction(24)),))
    assert conform(cut, {0: Shown(A, 0), 1: Shown(A, 1)}) == (Wrong(1, None, Shown(A, 1)),)


@pytest.mark.parametrize(("length", "speed"), [(0, 24), (5, -1)])
def test_an_event_of_no_length_or_running_backwards_is_refused(length: int, speed: int):
    with pytest.raises(ValueError, match="expected"):
        Event(A, 0, length, Fraction(speed))


@pytest.mark.parametrize(("into", "dissolve"), [(Fraction(1), 0), (Fraction(-1, 3), 0), (Fraction(0), 6)])
def test_an_event_begins_within_its_first_frame_and_dissolves_within_its_length(into: Fraction, dissolve: int):
    with pytest.raises(ValueError, match="expected"):
        Event(A, 0, 5, Fraction(24), into, dissolve)
