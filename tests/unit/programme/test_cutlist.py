"""Frame lists and their check, against the published rule for stretching."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.model import FrameRange, ReelName
from relay.programme.cutlist import CutList, Event, Shown, Wrong, conform

A, B = ReelName("A/R01"), ReelName("B/R02")
EVENTS = st.builds(
    Event,
    st.sampled_from((A, B)),
    st.integers(-50, 5000),
    st.integers(1, 80),
    st.sampled_from([Fraction(0), Fraction(16), Fraction(200, 11), Fraction(20), Fraction(24)]),
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
