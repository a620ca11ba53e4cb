"""Cut lists in and out, against OpenTimelineIO, its CMX 3600 adapter, and lists that nobody should believe."""

import re
from dataclasses import replace
from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given, settings

from relay.programme.cutlist import SLATE, CutList, Event, Shown
from relay.programme.edl import edl, parse_edl
from relay.programme.otio_form import otio_form, parse_otio
from relay.programme.own_form import own_form, parse_own_form
from relay.programme.reading import Ground, LineError, parse_list, text_of
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


def test_the_librarys_own_reader_sees_our_wipe_and_we_see_what_it_writes():
    """otio-cmx3600-adapter 1.0 keeps a wipe's number as the list has it."""
    cut = CutList(Fraction(24), (GOOD.events[0], replace(GOOD.events[1], wipe=17)))
    read = otio.adapters.read_from_string(edl(cut), "cmx_3600", rate=24)
    (mix,) = [each for each in read.tracks[0] if isinstance(each, otio.schema.Transition)]
    assert (mix.metadata["cmx_3600"]["transition"], mix.out_offset.value) == ("W017", 12)
    again = parse_otio(otio.adapters.write_to_string(read, "otio_json"), GROUND)
    assert [(each.dissolve, each.wipe) for each in again.events] == [(0, None), (12, 17)]
    assert again.needed() == cut.needed()


def test_a_wipe_is_pulled_like_a_dissolve_the_shot_before_runs_on_under_it():
    wiped = parse_list(M2.replace("D    012", "W001 012"), GROUND)
    dissolved = parse_list(M2, GROUND)
    assert [each.wipe for each in wiped.events] == [None, None, 1]
    assert wiped.needed() == dissolved.needed()
    assert wiped.going() == dissolved.going() != {}


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
    for track in ("V2", "V10"):
        with pytest.raises(ValueError, match=f"line 2: {track} is a further picture track"):
            parse_list(first + first.replace("V  ", f"{track} "))


HEAD = "TITLE: as an editor sends it\n"
CUT_TO = "{:03d}  {:<8} V     {:<8} {} {} {} {}\n"


def one(number: int, reel: str, how: str, *labels: str) -> str:
    return CUT_TO.format(number, reel, how, *labels)


def test_drop_frame_labels_count_from_the_hour_of_the_reel_however_they_are_written():
    """At 30000/1001 the label 01:00:00;00 is frame 107892, and ;00 and ;01 do not exist in minute 1: REFERENCES, 1."""
    colons = one(1, "A_R01", "C", "01:00:59:28", "01:01:00:04", "00:00:59:28", "00:01:00:04")
    semicolons = colons.replace(":28", ";28").replace(":04", ";04")
    ground = Ground(REELS, Fraction(30000, 1001))
    for text in (HEAD + "FCM: DROP FRAME\n" + colons, HEAD + semicolons):
        (event,) = parse_edl(text, ground).events
        assert (event.first, event.length) == (1798, 4)
    (event,) = parse_edl(HEAD + "FCM: NON-DROP FRAME\n" + colons, ground).events
    assert (event.first, event.length) == (1798, 6)


def test_a_programme_that_begins_ahead_of_midnight_goes_on_after_it():
    text = (
        HEAD
        + one(1, "BL", "C", "00:00:00:00", "00:00:08:00", "23:59:52:00", "00:00:00:00")
        + one(2, "A_R01", "C", "01:00:00:00", "01:00:02:00", "00:00:00:00", "00:00:02:00")
        + one(3, "A_R01", "C", "01:00:02:00", "01:00:04:00", "00:00:02:00", "00:00:04:00")
    )
    cut = parse_list(text, GROUND)
    assert [(each.first, each.length, each.at) for each in cut.events] == [
        (0, 192, None),
        (0, 48, None),
        (48, 48, None),
    ]
    with pytest.raises(LineError, match="line 2: the source runs backwards, 01:00:05:00 to 01:00:04:00"):
        parse_list(HEAD + one(1, "A_R01", "C", "01:00:05:00", "01:00:04:00", "01:00:00:00", "01:00:01:00"), GROUND)
    late = parse_list(HEAD + one(1, "A_R01", "C", "23:59:59:00", "00:00:01:00", "23:59:59:00", "00:00:01:00"), GROUND)
    assert [(each.first, each.length) for each in late.events] == [((23 * 3600 - 1) * 24, 48)]


def test_a_reels_name_may_have_blanks_in_it():
    text = HEAD + one(1, "A R01", "C", "01:00:05:00", "01:00:06:00", "01:00:00:00", "01:00:01:12")
    (event,) = parse_list(text + "M2   A R01          016.0                01:00:05:00\n", GROUND).events
    assert (event.reel, event.speed) == (REELS[0], 16)


def test_a_title_from_no_reel_is_a_slate_and_black_is_another():
    text = (
        HEAD
        + one(1, "AX", "C", "00:00:00:00", "00:00:04:00", "01:00:00:00", "01:00:04:00")
        + "* FROM CLIP NAME: PART TWO\n"
        + one(2, "BL", "C", "00:00:00:00", "00:00:01:00", "01:00:04:00", "01:00:05:00")
        + one(3, "AX", "D    012", "00:00:00:00", "00:00:02:00", "01:00:05:00", "01:00:07:00")
    )
    cut = parse_list(text, GROUND)
    assert [(each.is_slate, each.title, each.dissolve) for each in cut.events] == [
        (True, "PART TWO", 0), (True, "", 0), (True, "AX", 12),
    ]  # fmt: skip
    assert cut.needed() == {}
    assert parse_edl(edl(cut), GROUND) == cut


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("003  A_R01    V     C        01:00:20", "003  B_R02    V     C        01:00:20", "goes out of B_R02 at"),
        (
            "01:00:20:00 01:00:20:00",
            "01:00:19:23 01:00:19:23",
            "goes out of A_R01 at 01:00:19:23, and the event before ends",
        ),
    ],
)
def test_what_goes_under_a_dissolve_is_the_shot_before_running_on_or_the_line_is_told(old: str, new: str, said: str):
    text = M2.replace("01:00:10:01 01:00:01:12", "01:00:11:00 01:00:01:12").replace("000.0", "024.0")
    text = text.replace("01:00:10:00 01:00:11:00", "01:00:19:00 01:00:20:00")
    assert parse_list(text, GROUND).events[-1].dissolve == 12
    with pytest.raises(LineError, match=f"line 9: .*{said}"):
        parse_list(text.replace(old, new), GROUND)


def test_sound_alone_is_passed_over_and_a_key_is_refused_with_its_line_and_what_to_do():
    sound = EDIT.replace(" V ", " AA/V ").replace("001", "002").replace("AA/V", "A2")
    assert len(parse_list(EDIT + "\n" + sound, GROUND).events) == 1
    with pytest.raises(LineError, match="line 2: a key lays one picture over another, which is not read: let a shot"):
        parse_list(EDIT + "\n" + EDIT.replace(" C ", " K B "), GROUND)


def test_labels_at_another_rate_say_which_rate_they_were_read_at():
    text = EDIT.replace("01:00:06:00", "01:00:05:24").replace("01:00:01:00", "01:00:00:24")
    with pytest.raises(LineError, match=r"line 1: '01:00:05:24' is not .*read at 24 frames a second, --rate says"):
        parse_list(text, GROUND)
    assert parse_list(text, Ground(REELS, Fraction(25))).length() == 24


def test_a_list_of_sound_alone_and_one_in_another_alphabet_are_told_so_with_the_line():
    with pytest.raises(LineError, match="line 2: the list holds sound alone: expected pictures"):
        parse_list(HEAD + one(1, "MIX", "C", *["00:00:00:00", "00:00:10:00"] * 2).replace(" V ", " AA "), GROUND)
    with pytest.raises(LineError, match="line 2: byte 50 is not UTF-8: save"):
        text_of(HEAD.encode() + b"* FROM CLIP NAME: caf\xe9\n")
    with pytest.raises(LineError, match="line 1: byte 2 is not UTF-16: save"):
        text_of(b"\xff\xfe\x00")
    assert parse_list(text_of(("\ufeff" + M2.replace("\n", "\r\n")).encode("utf-16-le")), GROUND) == parse_list(
        M2, GROUND
    )


def test_xml_is_refused_by_its_first_sign_and_nothing_of_it_is_expanded():
    """A billion laughs and a reference to a file; the linter refuses XML parsers that would follow either."""
    laughs = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    for text in (f'<!DOCTYPE x [<!ENTITY a0 "ha">{laughs}]><x>&a9;</x>', '<!ENTITY x SYSTEM "file:///etc/passwd">'):
        with pytest.raises(LineError, match="line 3: this is XML, which is none of the forms read here: save it as"):
            parse_list(f"\n\n{text}", GROUND)


@pytest.mark.parametrize("rate", [24, 25])
@pytest.mark.parametrize("speed", [16, 18, 20])
def test_silent_speeds_in_a_list_at_24_or_25_are_right_to_the_frame(speed: int, rate: int):
    """Output frame k shows frame floor(k x from / to): REFERENCES, 1; the library sees the same speed in both forms."""
    last = f"01:00:{5 + 3 * speed // rate:02d}:{3 * speed % rate:02d}"
    text = HEAD + one(1, "A_R01", "C", "01:00:05:00", last, "01:00:00:00", "01:00:03:00")
    text += f"M2   A_R01          {speed:03d}.0                01:00:05:00\n"
    (event,) = parse_edl(text, Ground(REELS, Fraction(rate))).events
    shown = [each.frame for each in event.shown(Fraction(rate))]
    assert shown == [5 * rate + place * speed // rate for place in range(3 * rate)]
    ours = otio_form(CutList(Fraction(rate), (event,)))
    for form, told in (("cmx_3600", {"rate": rate}), ("otio_json", {})):
        (clip,) = otio.adapters.read_from_string(text if told else ours, form, **told).tracks[0]
        assert Fraction(clip.effects[0].time_scalar).limit_denominator(1000) == event.speed / rate


def test_a_speed_that_changes_within_a_shot_goes_on_in_the_step_of_the_pattern_that_it_was_in():
    """16, then 20, in a list at 24: the first stretch ends 10 2/3 frames on, so the second begins there."""
    slow = Event(REELS[0], 100, 16, Fraction(16))
    quick = Event(REELS[0], 110, 12, Fraction(20), into=Fraction(2, 3))
    cut = CutList(Fraction(24), (slow, quick))
    exact = [100 + Fraction(2, 3) * place for place in range(16)]
    exact += [100 + Fraction(32, 3) + Fraction(5, 6) * place for place in range(12)]
    assert [each.frame for each in cut.shown()] == [int(each) for each in exact]
    for again in (parse_edl(edl(cut), GROUND), parse_otio(otio_form(cut), GROUND), parse_own_form(own_form(cut))):
        assert again == cut


@pytest.mark.parametrize(
    ("name", "url", "called"),
    [
        ("A_R01_reference.mov", "", "lamp"),
        ("", "file:///E:/media/A_R01_reference.mov", "lamp"),
        ("", "", "a r01"),
        ("clip 7", "/copies/A_R01.mov", "x"),
    ],
)
def test_a_clip_of_a_reference_copy_is_of_its_reel_however_the_editor_calls_it(name: str, url: str, called: str):
    time = otio.opentime
    length = time.TimeRange(time.RationalTime(86400 + 7, 24), time.RationalTime(12, 24))
    media = otio.schema.ExternalReference(target_url=url) if url else otio.schema.MissingReference()
    media.name = name
    track = otio.schema.Track(name="V1", kind="Video")
    track.append(otio.schema.Clip(name=called, media_reference=media, source_range=length))
    sound = otio.schema.Track(name="A1", kind="Audio")
    sound.append(otio.schema.Clip(name="score.wav", source_range=length))
    timeline = otio.schema.Timeline(name="reel 1")
    timeline.tracks.extend([track, sound])
    (event,) = parse_list(timeline.to_json_string(), GROUND).events
    assert (event.reel, event.first, event.length) == (REELS[0], 7, 12)
    track[0].name, media.name = "", "nobody.mov"
    with pytest.raises(LineError, match="there is no reel 'nobody'"):
        parse_list(timeline.to_json_string().replace("A_R01", "Z_R01"), GROUND)


def test_a_track_that_is_switched_off_is_not_shown_and_a_clip_that_is_so_is_told():
    timeline = otio.adapters.read_from_string(otio_form(GOOD), "otio_json")
    spare = timeline.tracks[0].deepcopy()
    spare.enabled = False
    timeline.tracks.append(spare)
    assert parse_list(timeline.to_json_string(), GROUND) == GOOD
    timeline.tracks[0][0].enabled = False
    with pytest.raises(LineError, match="the clip is switched off: take it out"):
        parse_list(timeline.to_json_string(), GROUND)
