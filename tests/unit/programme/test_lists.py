"""Cut lists in and out, against OpenTimelineIO, its CMX 3600 adapter, and lists that nobody should believe."""

import re
from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given, settings

from relay.programme.cutlist import SLATE, CutList, Event, Shown
from relay.programme.edl import edl, parse_edl
from relay.programme.otio_form import otio_form, parse_otio
from relay.programme.own_form import own_form, parse_own_form
from relay.programme.reading import Ground, LineError, parse_list
from tests.references.lists import EDIT, GOOD, REELS, hostile, whole_lists

GROUND = Ground(REELS)
M2 = """TITLE: from elsewhere
FCM: NON-DROP FRAME

001  A_R01    V     C        01:00:05:00 01:00:06:00 01:00:00:00 01:00:01:12
M2   A_R01          016.0                01:00:05:00
* FROM CLIP NAME: the ferry
002  A_R01    V     C        01:00:10:00 01:00:10:01 01:00:01:12 01:00:02:12
M2   A_R01          000.0                01:00:10:00
003  A_R01    V     C        01:00:20:00 01:00:20:00 01:00:02:12 01:00:02:12
003  B_R02    V     D    012 01:00:07:00 01:00:08:00 01:00:02:12 01:00:03:12
004  AX       A     C        00:00:00:00 00:00:01:00 01:00:02:12 01:00:03:12
"""


@given(whole_lists())
@settings(max_examples=60)
def test_a_list_written_in_each_form_and_read_again_is_the_same_list(cut: CutList):
    assert parse_own_form(own_form(cut)) == cut
    assert parse_edl(edl(cut), Ground(rate=cut.rate)) == cut
    assert parse_otio(otio_form(cut), Ground()) == cut


@given(whole_lists())
@settings(max_examples=40)
def test_the_librarys_own_reader_sees_our_edit_lists_as_they_are(cut: CutList):
    """OpenTimelineIO 0.18 with otio-cmx3600-adapter 1.0; dissolves have tests of their own."""
    events = [each for each in cut.events if not each.is_slate and not each.dissolve]
    cut = CutList(cut.rate, tuple(events))
    if not events:
        return
    read = otio.adapters.read_from_string(edl(cut), "cmx_3600", rate=float(cut.rate))
    clips = [each for each in read.tracks[0] if isinstance(each, otio.schema.Clip)]
    assert len(clips) == len(events)
    for clip, each in zip(clips, events, strict=True):
        assert clip.duration().value == each.length
        assert clip.source_range.start_time.value == each.first + 3600 * cut.rate
        if each.frame_at(each.length - 1, cut.rate) + 1 - each.first == each.length:
            continue  # as many frames as places: that reader looks at no M2 line then
        warps = [effect for effect in clip.effects if isinstance(effect, otio.schema.LinearTimeWarp)]
        scalar = warps[0].time_scalar if warps else 1.0
        assert scalar == pytest.approx(float(each.speed / cut.rate), abs=0.05 / 24)  # M2 has tenths


def test_the_librarys_own_reader_sees_our_dissolve():
    cut = CutList(Fraction(24), GOOD.events[:2])
    read = otio.adapters.read_from_string(edl(cut), "cmx_3600", rate=24)
    (mix,) = [each for each in read.tracks[0] if isinstance(each, otio.schema.Transition)]
    assert (mix.in_offset + mix.out_offset).value == 12
    again = parse_otio(otio.adapters.write_to_string(read, "otio_json"), GROUND)
    assert list(again.shown()) == list(cut.shown())
    assert again.needed() == cut.needed()


@given(whole_lists())
@settings(max_examples=40)
def test_the_librarys_own_writer_is_read_back(cut: CutList):
    """A freeze is left out: that writer divides by its speed."""
    events = tuple(
        Event(each.reel, abs(each.first), each.length, each.speed)
        for each in cut.events
        if not each.is_slate and each.speed in {16, 20, 24} and each.speed <= cut.rate
    )
    if not events or cut.rate != 24:
        return
    plain = CutList(cut.rate, events)
    timeline = otio.adapters.read_from_string(otio_form(plain), "otio_json")
    for clip, each in zip(timeline.tracks[0], events, strict=True):
        clip.source_range = otio.opentime.TimeRange(
            otio.opentime.RationalTime(each.first + 86400, 24), clip.source_range.duration
        )
        clip.media_reference.available_range = None
        clip.metadata["cmx_3600"] = {"reel": str(each.reel).replace("/", "").replace("-", "")[:8]}
        clip.metadata.pop("relay")
    ground = Ground(
        (REELS[0], REELS[1], REELS[2])
    )  # two reels of one name at eight characters are told apart by people
    named = CutList(
        plain.rate, tuple(e if e.reel != REELS[3] else Event(REELS[2], e.first, e.length, e.speed) for e in events)
    )
    assert list(parse_otio(timeline.to_json_string(), ground).shown()) == list(named.shown())


def test_speeds_and_a_freeze_in_a_list_from_elsewhere_are_right_to_the_frame():
    """M2 REEL 016.0 at rate 24 is a time scalar of 16/24, 000.0 a freeze (run with the adapter)."""
    cut = parse_list(M2, GROUND)
    ferry, held, ahead = cut.events
    assert [each.frame for each in ferry.shown(cut.rate)][:6] == [120, 120, 121, 122, 122, 123]
    assert set(held.shown(cut.rate)) == {Shown(REELS[0], 240)}
    assert (ferry.title, ahead.dissolve, ahead.first, cut.length()) == ("the ferry", 12, 168, 84)
    assert [each.line for each in cut.events] == [4, 7, 10]


def test_a_list_cut_from_copies_that_hold_frames_speaks_of_the_reels_frames():
    """The copy of an 18 fps reel at 24 shows 2,1,1: picture 4 is frame 3."""
    ground = Ground(REELS, held={REELS[0]: Fraction(18)})
    cut = parse_list(EDIT.replace("01:00:05:00", "01:00:00:05").replace("01:00:06:00", "01:00:01:05"), ground)
    copy = [each.frame for each in Event(REELS[0], 0, 40, Fraction(18)).shown(Fraction(24))]
    assert [each.frame for each in cut.shown()] == copy[5:29]


def test_a_fade_from_black_needs_nothing_of_the_shot_before():
    text = (
        "\n".join(M2.splitlines()[:8])
        + "\n003  BL  V  C  00:00:00:00 00:00:00:00 01:00:02:12 01:00:02:12\n"
        + M2.splitlines()[9]
    )
    cut = parse_list(text, GROUND)
    assert cut.events[-1].fades
    assert cut.leaving() == (0, 0, 0)
    assert parse_edl(edl(cut), GROUND) == cut


def test_holes_and_overlaps_keep_their_places():
    late = EDIT.replace("001", "002", 1).replace("01:00:00:00", "01:00:02:00").replace("01:00:01:00", "01:00:03:00")
    cut = parse_list(EDIT + "\n" + late, GROUND)
    assert [each.at for each in cut.events] == [None, 48]
    assert parse_otio(otio_form(cut), GROUND) == cut
    assert parse_own_form(own_form(cut)) == cut


def test_reels_that_an_edit_list_would_call_the_same_keep_names_of_their_own():
    cut = CutList(Fraction(24), tuple(Event(reel, 0, 10, Fraction(24)) for reel in REELS))
    names = re.findall(r"RELAY REEL (\S+) IS (\S+)", edl(cut))
    assert len({name for name, _ in names}) == 4
    assert all(len(name) <= 8 for name, _ in names)
    with pytest.raises(LineError, match=r"line 1: reel 'NITRATEL' may be"):
        parse_list(EDIT.replace("AR01", "NITRATEL"), GROUND)


@pytest.mark.parametrize("text", [M2, own_form(GOOD), otio_form(GOOD)], ids=["edl", "toml", "otio"])
def test_the_form_of_a_list_is_seen_from_its_text(text: str):
    assert parse_list(text, GROUND).events


HOSTILE = hostile()


def test_there_are_two_hundred_lists_that_nobody_should_believe():
    assert len(HOSTILE) >= 200
    assert SLATE not in REELS


@pytest.mark.parametrize("at", range(8))
def test_a_malformed_or_hostile_list_is_refused_in_one_sentence_with_its_line(at: int):
    for text in HOSTILE[at::8]:
        with pytest.raises(LineError) as refused:
            parse_list(text, GROUND)
        said = str(refused.value)
        assert re.match(r"line [1-9][0-9]*: \S", said), (text[:300], said)
        assert "\n" not in said, (text[:300], said)
        assert refused.value.line <= max(1, len(text.splitlines())), (text[:300], said)


def test_a_further_picture_track_is_refused_with_its_line():
    first = "001  A_R01  V   C  01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n"
    with pytest.raises(ValueError, match="line 2: V2 is a further picture track"):
        parse_list(first + first.replace("V ", "V2"))
