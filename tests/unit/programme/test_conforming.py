"""What came back against the list: by declared number, and the report of it."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.model import FrameRange, digest_of
from relay.programme.conforming import conformed, declared, mixed_places, parse_conform_report
from relay.programme.cutlist import SLATE, CutList, Event, Shown
from relay.programme.matching import match
from tests.unit.programme.scene import A, B, film, returned
from tests.unit.programme.test_cutlist import LISTS

LIST = digest_of(b"list")
CUT = CutList(Fraction(24), (Event(A, 5, 30, Fraction(16)), Event(B, 10, 20, Fraction(24))))
WANTED = list(CUT.shown())
BY_SOURCE = {place: row.frame for place, row in enumerate(WANTED)}


def held(positions: dict[int, int | None]):
    return conformed(WANTED, positions, None, LIST)


@given(LISTS.filter(lambda cut: cut.length() > 0), st.booleans(), st.integers(-100_000, 100_000))
def test_what_comes_back_as_the_list_says_conforms_however_its_headers_count(cut: CutList, carried: bool, start: int):
    wanted = list(cut.shown())
    positions = {place: start + (row.frame if carried else place) for place, row in enumerate(wanted)}
    found = conformed(wanted, positions, None, LIST)
    assert (found.blocking(), found.warning()) == (0, 0)
    assert found.reading != "nothing"


@given(st.sets(st.integers(0, 49), min_size=1, max_size=20), st.sets(st.integers(50, 90), max_size=5))
def test_every_place_that_lacks_and_every_number_too_many_is_named_as_ranges(gone: set[int], more: set[int]):
    found = held(dict.fromkeys(set(range(50)) - gone | more))
    assert {frame for each in found.missing for frame in range(each.first, each.last + 1)} == gone
    assert {frame for each in found.extra for frame in range(each.first, each.last + 1)} == more
    assert found.blocking() == len(found.missing) + len(found.extra)


def test_a_header_that_carries_another_source_frame_is_named_with_both():
    wrong = BY_SOURCE | {place: BY_SOURCE[place] + 1 for place in range(12, 18)}
    found = held(wrong)
    assert found.reading == "source"
    (run,) = found.displaced
    assert run.places == FrameRange(first=12, last=17)
    assert (run.reel, run.first, run.shows, run.shows_first) == (A, 13, A, 14)
    assert (run.by, run.sure, found.blocking()) == ("number", 1.0, 1)


def test_a_header_that_counts_places_is_held_against_the_place():
    found = held({place: 1000 + place + (place >= 40) for place in range(50)})
    assert found.reading == "place"
    (run,) = found.displaced
    assert run.places == FrameRange(first=40, last=48)  # the last one's neighbour is past the end of the list


def test_the_same_frame_shown_again_is_no_fault_when_the_header_counts_places():
    # places 0 and 1 show one frame at 16 in 24
    reading, wrong = declared(WANTED, {place: place for place in range(50)} | {1: 0})
    assert (reading, wrong) == ("place", ())


def test_headers_that_count_nothing_of_ours_say_nothing():
    assert declared(WANTED, {place: place * place for place in range(50)}) == ("nothing", ())
    assert declared(WANTED, dict.fromkeys(range(50))) == ("nothing", ())


def test_a_picture_that_speaks_against_a_right_number_blocks():
    sources = {A: film(60, 1), B: film(60, 2)}
    shown = [Shown(row.reel, row.frame + 2) if place >= 30 else row for place, row in enumerate(WANTED)]
    found = conformed(WANTED, BY_SOURCE, match(WANTED, returned(shown, sources), sources), LIST, "Q/R01/v2")
    (run,) = found.displaced
    assert (run.by, run.places, run.shows_first - run.first) == ("picture", FrameRange(first=30, last=49), 2)
    assert run.sure > 0.9
    assert found.blocking() == 1
    assert parse_conform_report(found.encode()) == found


def test_a_report_tells_of_many_runs_and_counts_the_rest():
    wanted = [Shown(A, frame) for frame in range(3000)]
    found = conformed(wanted, {place: place + (place % 3 == 0) for place in range(3000)}, None, LIST)
    assert len(found.displaced) == 500
    assert found.blocking() == found.displaced_in_all == 1000


@pytest.mark.parametrize("body", [b"", b"{}", b'{"relay_conform": 2}'])
def test_what_is_no_report_is_refused(body: bytes):
    with pytest.raises(ValueError, match=r"valid|Field"):
        parse_conform_report(body)


def test_a_header_under_a_dissolve_carries_the_number_of_what_goes_or_of_what_comes_and_no_other():
    cut = CutList(Fraction(24), (Event(A, 5, 30, Fraction(24)), Event(B, 10, 20, Fraction(24), dissolve=4)))
    mixed, going, wanted = mixed_places(cut), cut.going(), list(cut.shown())
    # A's frames go on from 35 where its 30 places end; B's come in from 10 on
    assert going == {30 + step: Shown(A, 35 + step) for step in range(4)}
    by_source = {place: row.frame for place, row in enumerate(wanted)}
    gone = by_source | {place: row.frame for place, row in going.items()}
    for positions in (by_source, gone, {place: place for place in by_source}):
        assert conformed(wanted, positions, None, LIST, mixed=mixed, going=going).blocking() == 0
    (run,) = conformed(wanted, gone | {32: 36}, None, LIST, mixed=mixed, going=going).displaced
    assert (run.places, run.by, run.blocks, run.first, run.shows_first) == (
        FrameRange(first=32, last=32), "number", True, 12, 36
    )  # fmt: skip
    (run,) = conformed(
        wanted, {place: place for place in by_source} | {31: 30}, None, LIST, None, mixed, going
    ).displaced
    assert run.places == FrameRange(first=31, last=31)


def test_nothing_is_expected_of_headers_under_a_dissolve_or_on_a_slate():
    cut = CutList(
        Fraction(24),
        (
            Event(A, 5, 30, Fraction(24)),
            Event(SLATE, 0, 6, Fraction(24), title="the end of part one"),
            Event(B, 10, 20, Fraction(24), dissolve=4),
        ),
    )
    mixed = mixed_places(cut)
    assert mixed == set(range(30, 40))
    wanted = list(cut.shown())
    positions = {place: 7 if place in mixed else row.frame for place, row in enumerate(wanted)}
    assert conformed(wanted, positions, None, LIST, mixed=mixed).blocking() == 0
    assert conformed(wanted, positions, None, LIST).blocking() > 0
