"""From the cut list to the pull list to what comes back; and what a re-cut changes."""

import csv
import io
from dataclasses import replace
from fractions import Fraction

import opentimelineio as otio
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.model import FrameRange, ReelName
from relay.programme.cutlist import CutList, Event, Shown, conform
from relay.programme.pulling import as_csv, hours, pull_edl, pull_list, recut
from tests.references.lists import whole_lists
from tests.unit.programme.test_cutlist import A, B

RATE = Fraction(24)


def frames_in(ranges: tuple[FrameRange, ...]) -> set[int]:
    return {frame for each in ranges for frame in range(each.first, each.last + 1)}


@given(whole_lists(), st.integers(0, 12), st.integers(0, 30))
@settings(max_examples=30)
def test_a_programme_put_together_from_its_pull_list_alone_conforms(cut: CutList, handles: int, near: int):
    """The lab has nothing but what was pulled, and lays it by the list: the programme returns."""
    pulls = pull_list(cut, handles, near)
    there = {Shown(each.reel, frame) for each in pulls for frame in frames_in(each.ranges)}
    made = {place: each for place, each in enumerate(cut.shown()) if each in there or each.reel == "slate/BL"}
    assert conform(cut, made) == ()
    for each in pulls:
        assert frames_in(each.shown) <= frames_in(each.ranges)
        assert all(b.first - a.last - 1 > near for a, b in zip(each.ranges, each.ranges[1:], strict=False))


def test_a_frame_that_the_pull_lacks_is_missing_from_the_programme():
    cut = CutList(RATE, (Event(A, 10, 20, Fraction(16)),))
    (pull,) = pull_list(cut, 0, 0, {A: (FrameRange(first=0, last=14), FrameRange(first=16, last=40))})
    assert [str(each) for each in pull.ranges] == ["10-14", "16-22"]
    assert [str(each) for each in pull.lacking] == ["15"]
    made = {place: each for place, each in enumerate(cut.shown()) if each.frame in frames_in(pull.ranges)}
    assert {each.expected for each in conform(cut, made)} == {Shown(A, 15)}


def test_handles_are_added_and_near_runs_joined():
    cut = CutList(RATE, (Event(A, 100, 10, RATE), Event(B, 5, 4, RATE), Event(A, 140, 10, RATE)))
    (a, b) = pull_list(cut, 8, 24)
    assert ([str(each) for each in a.ranges], [str(each) for each in b.ranges]) == (["92-157"], ["-3-16"])
    (a, b) = pull_list(cut, 8, 13)
    assert [str(each) for each in a.ranges] == ["92-117", "132-157"]
    assert hours(a.frames, 1200) == Fraction(52, 1200)


@given(whole_lists())
@settings(max_examples=25)
def test_the_edit_list_of_a_pull_is_read_by_the_library_as_its_ranges(cut: CutList):
    """OpenTimelineIO 0.18 with otio-cmx3600-adapter 1.0."""
    for pull in pull_list(cut):
        read = otio.adapters.read_from_string(pull_edl(pull, cut.rate), "cmx_3600", rate=float(cut.rate))
        zero = 3600 * cut.rate
        found = [
            (clip.source_range.start_time.value - zero, clip.source_range.duration.value)
            for clip in read.tracks[0]
            if isinstance(clip, otio.schema.Clip)
        ]
        assert found == [(each.first, each.last - each.first + 1) for each in pull.ranges]


def test_rows_are_written_as_rfc_4180_has_them():
    text = as_csv([{"reel": 'A"1', "note": "two,\nlines"}], ("reel", "note"))
    assert list(csv.DictReader(io.StringIO(text))) == [{"reel": 'A"1', "note": "two,\nlines"}]


@given(whole_lists(), st.data())
@settings(max_examples=30)
def test_a_recut_tells_the_frames_that_come_and_go_and_no_others(cut: CutList, data: st.DataObject):
    events = list(cut.events)
    at = data.draw(st.integers(0, len(events) - 1))
    match data.draw(st.sampled_from(["longer", "other", "gone", "moved"])):
        case "longer":
            events[at] = replace(events[at], length=events[at].length + 5)
        case "other":
            events[at] = replace(events[at], first=events[at].first + 40)
        case "gone" if len(events) > 1:
            del events[at]
        case _:
            events.append(replace(events.pop(at), dissolve=0, fades=False, wipe=None))
    events[0] = replace(events[0], dissolve=0, fades=False, wipe=None)
    new = CutList(cut.rate, tuple(events))
    found = recut(cut, new)
    for name, expected in (("process", frames_of(new) - frames_of(cut)), ("drop", frames_of(cut) - frames_of(new))):
        told = {(each.reel, frame) for each in found.reels for frame in frames_in(getattr(each, name))}
        assert told == expected
    old, now = ({(p.reel, f) for p in pull_list(c) for f in frames_in(p.ranges)} for c in (cut, new))
    assert {(each.reel, frame) for each in found.reels for frame in frames_in(each.fetch)} == now - old
    assert found.kept == len(frames_of(new) & frames_of(cut))
    was = list(cut.shown())
    assert {p for p, each in enumerate(new.shown()) if p >= len(was) or was[p] != each} <= frames_in(found.anew)


def frames_of(cut: CutList) -> set[tuple[ReelName, int]]:
    return {(reel, frame) for reel, ranges in cut.needed().items() for frame in frames_in(ranges)}


def test_the_same_list_changes_nothing():
    cut = CutList(RATE, (Event(A, 10, 20, Fraction(16)), Event(B, 0, 12, RATE, dissolve=4)))
    found = recut(cut, cut)
    assert (found.reels, found.anew) == ((), ())


def test_a_shot_that_is_dissolved_from_anew_is_put_together_anew():
    cut = CutList(RATE, (Event(A, 10, 20, RATE), Event(B, 0, 12, RATE, dissolve=4)))
    other = CutList(RATE, (Event(A, 11, 20, RATE), cut.events[1]))
    assert [str(each) for each in recut(cut, other).anew] == ["0-23"]


def test_a_dissolve_that_becomes_a_wipe_is_put_together_anew_and_nothing_is_fetched():
    cut = CutList(RATE, (Event(A, 10, 20, RATE), Event(B, 0, 12, RATE, dissolve=4)))
    found = recut(cut, CutList(RATE, (cut.events[0], replace(cut.events[1], wipe=1))))
    assert ([str(each) for each in found.anew], found.reels) == (["20-23"], ())
