"""Reels as strips: their frames, how far each stage is, gaps, and who has the move."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.board.rows.moves import moves_on
from relay.board.rows.reels import reel_row, reel_rows, version_rows
from relay.board.rows.strips import strip_of
from relay.errors import MissingError
from relay.model import FrameRange, ReelName, frame_count, ranges_of, without
from tests.unit.board.board_scene import floor, view
from tests.unit.ledger.job_scene import receipt
from tests.unit.ledger.scene import COORDINATOR
from tests.unit.ledger.test_conformed import held
from tests.unit.ledger.test_inspected import looked

A1 = ReelName("A/R01")
FRAMES = st.sets(st.integers(-20, 60))


def fills(told, reel=A1):
    return {layer.stage: layer.fill for layer in strip_of(view(told), reel).layers}


@given(FRAMES, FRAMES)
def test_what_lacks_is_what_sets_say(wanted, held):
    found = without(ranges_of(wanted), ranges_of(held))
    assert found == ranges_of(wanted - held)
    assert frame_count(found) == len(wanted - held)


def test_a_strip_is_as_long_as_the_can_says():
    strip = strip_of(view(floor()), A1)
    assert (strip.first, strip.last, strip.is_counted) == (0, 15_999, True)


def test_a_strip_shows_leader_that_was_scanned_and_frames_that_lack():
    told = floor()
    told.delivers("scan/A/R01")
    held = (FrameRange(first=-24, last=99), FrameRange(first=200, last=15_999))
    strip = strip_of(view(told, frames={"A/R01/v1": held}), A1)
    assert (strip.first, strip.last) == (-24, 15_999)
    assert strip.gaps == (FrameRange(first=100, last=199),)


def test_a_short_scan_lacks_the_end_of_the_can():
    told = floor()
    told.delivers("scan/A/R01")
    strip = strip_of(view(told, frames={"A/R01/v1": (FrameRange(first=0, last=9_999),)}), A1)
    assert strip.gaps == (FrameRange(first=10_000, last=15_999),)


def test_the_layers_follow_the_work():
    told = floor()
    assert fills(told) == {"scan": "open", "copy": "waiting", "grade": "waiting"}
    told.claims("scan/A/R01")
    assert fills(told)["scan"] == "claimed"
    told.hands_in("scan/A/R01")
    assert fills(told)["scan"] == "handed in"
    told.says(COORDINATOR, receipt("A/R01/v1"))
    told.opens()
    assert fills(told) == {"scan": "handed in", "copy": "open", "grade": "open"}
    told.accepts("scan/A/R01")
    assert fills(told)["scan"] == "accepted"
    told.gives_back("scan/A/R01")
    assert fills(told)["scan"] == "returned"


def test_a_second_pass_lies_over_its_own_frames():
    told = floor()
    told.delivers("scan/A/R01")
    told.accepts("scan/A/R01")
    told.opens()
    told.asks("scan/A/R01/2", frames=[{"first": 100, "last": 180}], reason="splice")
    part = [layer for layer in strip_of(view(told), A1).layers if layer.job == "scan/A/R01/2"]
    assert [(layer.fill, layer.frames) for layer in part] == [("open", (FrameRange(first=100, last=180),))]


def test_each_standing_says_who_has_the_move():
    told = floor()
    says = lambda: [(move.site, move.does) for move in moves_on(view(told), A1)]  # noqa: E731  asked again and again
    assert says()[0][1] == "claim"
    told.claims("scan/A/R01")
    assert says() == [("lisbon", "finish")]
    told.hands_in("scan/A/R01")
    assert says()[0][1] == "receive"
    told.says(COORDINATOR, receipt("A/R01/v1"))
    assert says() == [(COORDINATOR, "judge")]
    told.accepts("scan/A/R01")
    assert says() == []


def test_a_refused_version_is_the_first_thing_to_mind():
    told = floor()
    told.does("scan/A/R01")
    told.says("kolkata", receipt("A/R01/v1", whole=False))
    row = reel_row(view(told), A1)
    assert row.mind[0] == "A/R01/v1 was refused: 1 bad file at kolkata"
    assert version_rows(view(told), A1)[0].is_refused
    told.says("kolkata", receipt("A/R01/v1"))
    assert not version_rows(view(told), A1)[0].is_refused


def test_every_reel_has_a_row_and_no_other_has_one():
    told = floor()
    assert [row.reel for row in reel_rows(view(told))] == told.state.film().reel_names()
    with pytest.raises(MissingError, match="no reel A/R99"):
        reel_row(view(told), ReelName("A/R99"))


def test_a_length_is_said_in_frames_feet_and_time():
    # 16,000 frames of 35 mm are 1,000 feet (16 frames a foot), and run 14:49 at 18 a second: 16000 / 18 = 888.9 s.
    length = reel_row(view(floor()), A1).length
    assert length.startswith("16,000 frames, 1000+00, 14:4"), length


def test_what_an_inspection_found_stands_with_the_version_and_on_the_reel():
    told = floor()
    made = told.delivers("scan/A/R01")
    told.says("halifax", looked(made, blocking=2))
    (row,) = version_rows(view(told), A1)
    assert [(each.site, each.blocking, each.warning) for each in row.looks] == [("halifax", 2, 1)]
    assert "A/R01/v1: 2 findings of halifax block it" in reel_row(view(told), A1).mind
    told.says("kolkata", looked(made, blocking=0))
    assert not any("block it" in word for word in reel_row(view(told), A1).mind)


def test_what_a_check_against_the_cut_list_found_stands_with_the_version_and_on_the_reel():
    told = floor()
    made = told.delivers("scan/A/R01")
    told.says("halifax", held(made, blocking=2))
    (row,) = version_rows(view(told), A1)
    assert [(each.site, each.blocking) for each in row.conforms] == [("halifax", 2)]
    assert "A/R01/v1: lies otherwise than its cut list in 2 findings" in reel_row(view(told), A1).mind
    told.says("kolkata", held(made, blocking=0))
    assert not any("cut list" in word for word in reel_row(view(told), A1).mind)
