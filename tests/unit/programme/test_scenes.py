"""Scenes of a cut list, and scenes as long as a guide print has them."""

from fractions import Fraction

import pytest
from hypothesis import given

from relay.model import FrameRange, VersionName
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.framemap import FrameMap, Match
from relay.programme.running import lay_out
from relay.programme.scenes import guided, scenes_of
from tests.unit.programme.test_cutlist import LISTS, A, B

# Print A lacks what are frames 20 to 29 of the guide, C, and has nothing of the leader.
THERE = {frame: Match(frame + (10 if frame >= 20 else 0), 99, sure=True) for frame in range(40)} | {
    40: Match(None, 90, sure=True)
}
MAP = FrameMap.built(VersionName("A/R01/v1"), VersionName("C/R01/v2"), THERE)


@given(LISTS.filter(lambda cut: cut.length() > 0))
def test_the_scenes_of_a_list_fill_its_very_places(cut: CutList):
    laid = lay_out(scenes_of(cut), cut.rate)
    assert [each.length for each in laid] == [event.length for event in cut.events]
    for each, event in zip(laid, cut.events, strict=True):
        if event.speed:
            off = Fraction(1, 2) * cut.rate / event.length  # half a frame of film over its length
            assert abs(each.scene.speed - event.speed) <= max(off, cut.rate / event.length)


def test_a_slate_and_a_freeze_count_their_places():
    cut = CutList(Fraction(24), (Event(SLATE, 0, 30, Fraction(24), title="PART TWO"), Event(A, 7, 12, Fraction(0))))
    assert [(each.name, each.frames, each.speed) for each in scenes_of(cut)] == [
        ("PART TWO", 30, 24), ("A/R01 from 7", 12, 24),
    ]  # fmt: skip


def test_a_scene_is_as_long_as_the_guide_print_has_it():
    length = guided(MAP)
    assert length(A, FrameRange(first=5, last=15)) == 11
    assert length(A, FrameRange(first=15, last=25)) == 21  # ten frames that print A lacks lie between


@pytest.mark.parametrize(
    ("reel", "first", "last", "said"),
    [(B, 5, 15, "speaks of A/R01"), (A, 5, 40, "begin and end the scene"), (A, 5, 99, "begin and end the scene")],
)
def test_what_the_map_does_not_say_is_refused(reel: str, first: int, last: int, said: str):
    with pytest.raises(ValueError, match=said):
        guided(MAP)(reel, FrameRange(first=first, last=last))
