"""A list held against what there is: each finding by counting frames one by one, as well."""

from collections.abc import Iterable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.model import FrameRange, ReelName, VersionName, frame_count, inside, merged, outside, without
from relay.programme.checking import Holdings, Kind, check, check_whole
from relay.programme.cutlist import CutList, Event
from relay.programme.lacking import Fill
from tests.references.lists import whole_lists
from tests.unit.programme.test_cutlist import A, B

RATE = Fraction(24)


def span(first: int, last: int) -> FrameRange:
    return FrameRange(first=first, last=last)


class OtherPrints:
    """Print B lies 100 frames further on."""

    def showing(self, reel: ReelName, frames: FrameRange) -> Iterable[Fill]:
        if reel == A:
            there, size = span(frames.first + 100, frames.last + 100), frames.last - frames.first + 1
            yield Fill(VersionName(f"{B}/v1"), (there,), size, size < 20, 97)


HELD = Holdings(
    reels=frozenset({A, B}),
    sent={A: (span(0, 99), span(120, 199)), B: (span(0, 999),)},
    accepted={A: (span(0, 49),), B: (span(0, 999),)},
    counted={A: 210},
    prints=OtherPrints(),
)


def kinds(*events: Event) -> list[tuple[Kind, str]]:
    return [(each.kind, str(each.frames)) for each in check(CutList(RATE, events), HELD)]


def test_a_list_of_frames_that_are_there_once_is_right():
    assert kinds(Event(A, 0, 50, RATE), Event(B, 0, 48, RATE, dissolve=12)) == [
        (Kind.NOT_ACCEPTED, "50-61")  # the shot runs on under the dissolve
    ]


@pytest.mark.parametrize(
    ("event", "found"),
    [
        (Event(A, 60, 10, RATE), [(Kind.NOT_ACCEPTED, "60-69")]),
        (Event(A, 90, 30, RATE), [(Kind.MISSING, "100-119"), (Kind.BETTER, "100-119"), (Kind.NOT_ACCEPTED, "90-99")]),
        (Event(A, 205, 10, RATE), [(Kind.BEYOND, "210-214"), (Kind.MISSING, "205-209"), (Kind.BETTER, "205-209")]),
        (Event(ReelName("C/R01"), 0, 1, RATE), [(Kind.NO_REEL, "0")]),
        (Event(B, 0, 10, RATE, at=24), [(Kind.HOLE, "0-23")]),
        (Event(B, 0, 24, RATE, dissolve=12), [(Kind.FROM_NOTHING, "0-11")]),
        (Event(B, 0, 24, RATE, dissolve=12, fades=True), []),
        (Event(A, 110, 24, Fraction(0)), [(Kind.MISSING, "110"), (Kind.BETTER, "110")]),
    ],
)  # fmt: skip
def test_what_is_wrong_with_an_event_is_found(event: Event, found: list[tuple[Kind, str]]):
    assert sorted(kinds(event)) == sorted(found)


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (Event(A, 100, 4, RATE), "B/R02/v1 shows it at 200-203"),
        (Event(A, 90, 30, RATE), "B/R02/v1 shows it at 200-219, not surely: look at both"),
    ],
)
def test_the_print_that_has_what_lacks_is_named_with_its_frames_and_how_sure_that_is(event: Event, said: str):
    assert [each.what for each in check(CutList(RATE, (event,)), HELD) if each.kind is Kind.BETTER] == [said]


def test_frames_used_twice_and_an_overlap_are_told_where_they_stand():
    found = check(CutList(RATE, (Event(B, 0, 24, RATE), Event(B, 20, 24, RATE, at=12, line=7))), HELD)
    assert [(each.kind, each.event, each.line, str(each.frames)) for each in found] == [
        (Kind.OVERLAP, 2, 7, "12-23"),
        (Kind.TWICE, 2, 7, "20-23"),
    ]
    assert [each.blocks for each in found] == [True, False]


def test_a_programme_with_a_hole_is_refused_with_its_line():
    with pytest.raises(ValueError, match="line 7: hole at 0-11 of the programme"):
        check_whole(CutList(RATE, (Event(B, 20, 24, RATE, at=12, line=7),)))


@given(whole_lists(), st.lists(st.tuples(st.integers(-600, 20_000), st.integers(0, 4000)), max_size=6))
@settings(max_examples=30)
def test_what_is_missing_is_every_frame_that_is_shown_and_not_held(cut: CutList, held: list[tuple[int, int]]):
    there = merged((first, first + more) for first, more in held)
    reels = frozenset(event.reel for event in cut.events)
    found = check(cut, Holdings(reels, dict.fromkeys(reels, there), dict.fromkeys(reels, there)))
    missing = {
        (each.reel, frame)
        for each in found
        if each.kind in {Kind.MISSING, Kind.BEYOND}
        for frame in range(each.frames.first, each.frames.last + 1)
    }
    holds = {frame for each in there for frame in range(each.first, each.last + 1)}
    shown = {
        (reel, frame)
        for reel, needed in cut.needed().items()
        for each in needed
        for frame in range(each.first, each.last + 1)
    }
    assert missing == {each for each in shown if each[1] not in holds}


@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 9)), max_size=8),
    st.tuples(st.integers(0, 60), st.integers(0, 20)),
)
def test_ranges_are_held_against_each_other_as_sets_of_frames_are(held: list[tuple[int, int]], asked: tuple[int, int]):
    ranges = merged((first, first + more) for first, more in held)
    first, last = asked[0], asked[0] + asked[1]
    frames = {frame for each in ranges for frame in range(each.first, each.last + 1)}
    assert {f for part in outside((first, last), ranges) for f in range(part[0], part[1] + 1)} == set(
        range(first, last + 1)
    ) - frames
    assert {f for part in inside((first, last), ranges) for f in range(part[0], part[1] + 1)} == set(
        range(first, last + 1)
    ) & frames
    assert frame_count(without(ranges, (span(first, last),))) == len(frames - set(range(first, last + 1)))
