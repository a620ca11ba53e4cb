from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from opentimelineio.opentime import RationalTime, to_timecode
from opentimelineio.opentime import from_timecode as frame_by_opentimelineio
from timecode import Timecode

from relay.film.timecode import format_timecode, parse_timecode
from tests.references import film_figures as figures

NTSC = Fraction(30000, 1001)
RATES = [Fraction(24000, 1001), Fraction(24), Fraction(25), NTSC, Fraction(30)]
DROPS = [*((rate, False) for rate in RATES), (NTSC, True)]


def frames_in_a_day(rate: Fraction, *, drop: bool) -> int:
    return figures.FRAMES_IN_A_DAY if drop else round(rate) * 86_400


def every_minute_of_a_day(rate: Fraction, *, drop: bool) -> list[int]:
    """Return the frames around each minute's first, and every 4,999th between them."""
    whole = frames_in_a_day(rate, drop=drop)
    starts = [whole * minute // 1440 + near for minute in range(1440) for near in range(-4, 5)]
    return sorted(frame for frame in {*starts, *range(0, whole, 4_999), whole - 1} if 0 <= frame < whole)


@pytest.mark.parametrize(("frame", "label"), figures.DROP_LABELS)
def test_drop_frame_gives_the_published_labels(frame, label):
    assert format_timecode(frame, NTSC, drop=True) == label
    assert parse_timecode(label, NTSC) == frame


@pytest.mark.parametrize(
    ("label", "frames"),
    [
        ("00:02:00;02", 1800 + figures.FRAMES_IN_A_DROP_MINUTE),
        ("00:10:00;00", figures.FRAMES_IN_TEN_MINUTES),
        ("01:00:00;00", figures.FRAMES_IN_AN_HOUR),
        ("12:00:00;00", figures.FRAMES_IN_A_DAY // 2),
    ],
)
def test_drop_frame_counts_the_published_frames(label, frames):
    assert parse_timecode(label, NTSC) == frames


@pytest.mark.parametrize(("rate", "drop"), DROPS)
def test_labels_agree_with_opentimelineio_all_day(rate, drop):
    for frame in every_minute_of_a_day(rate, drop=drop):
        if rate == NTSC and frame >= figures.FRAMES_IN_A_DAY:
            break  # it begins at 00:00:00:00 again after a day by the clock, 86 s of labels early, drop-frame or not
        theirs = to_timecode(RationalTime(frame, float(rate)), float(rate), drop)
        assert format_timecode(frame, rate, drop=drop) == theirs
        assert parse_timecode(theirs, rate) == frame == frame_by_opentimelineio(theirs, float(rate)).value


@pytest.mark.parametrize(("rate", "drop"), DROPS)
def test_labels_agree_with_the_timecode_package_all_day(rate, drop):
    for frame in every_minute_of_a_day(rate, drop=drop):
        theirs = str(Timecode(rate, frames=frame + 1, force_non_drop_frame=not drop))  # it counts from 1
        assert format_timecode(frame, rate, drop=drop) == theirs


def test_skipped_labels_are_those_of_the_standard_and_no_other():
    # SMPTE ST 12-1: ;00 and ;01 of each minute except every tenth.
    labels = {format_timecode(frame, NTSC, drop=True) for frame in range(figures.FRAMES_IN_AN_HOUR)}
    everything = {f"00:{m:02d}:{s:02d};{f:02d}" for m in range(60) for s in range(60) for f in range(30)}
    assert everything - labels == {f"00:{m:02d}:00;{f:02d}" for m in range(60) if m % 10 for f in (0, 1)}


def test_drop_frame_stays_with_the_clock_where_non_drop_falls_behind_by_3_6_seconds_an_hour():
    # SMPTE ST 12-1 as published in outline: 108 labels an hour make up for 3.6 s.
    hour = round(3600 * NTSC)
    assert format_timecode(hour, NTSC, drop=True) == "01:00:00;00"
    assert format_timecode(hour, NTSC) == "00:59:56:12"


@given(rate_and_drop=st.sampled_from(DROPS), where=st.floats(0, 1, exclude_max=True))
def test_a_frame_is_read_back_from_its_label(rate_and_drop, where):
    rate, drop = rate_and_drop
    frame = int(where * frames_in_a_day(rate, drop=drop))
    assert parse_timecode(format_timecode(frame, rate, drop=drop), rate) == frame


@pytest.mark.parametrize(("rate", "drop"), DROPS)
def test_a_frame_outside_the_day_is_refused(rate, drop):
    for frame in (-1, frames_in_a_day(rate, drop=drop)):
        with pytest.raises(ValueError, match="expected one within 24 hours from 0"):
            format_timecode(frame, rate, drop=drop)


@pytest.mark.parametrize("label", ["00:01:00;00", "00:01:00;01", "10:59:00;00"])
def test_a_skipped_label_is_refused(label):
    with pytest.raises(ValueError, match="does not exist: drop-frame goes from ;29 to ;02 in this minute"):
        parse_timecode(label, NTSC)


@pytest.mark.parametrize(
    "label", ["24:00:00:00", "00:60:00:00", "00:00:60:00", "00:00:00:30", "25:00:00;00", "00:00:00;30"]
)
def test_a_label_past_its_limits_is_refused(label):
    with pytest.raises(ValueError, match=r"is not a timecode: expected at most 23:59:59[:;]29"):
        parse_timecode(label, NTSC)


@pytest.mark.parametrize(
    "text", ["", "1:00:00:00", "01:00:00", "01:00:00.00", "01;00;00;00", "aa:bb:cc:dd", "01:00:00:000"]
)
def test_what_is_no_timecode_is_refused(text):
    with pytest.raises(ValueError, match="expected hh:mm:ss:ff"):
        parse_timecode(text, NTSC)


@pytest.mark.parametrize("rate", [Fraction(16), Fraction(18), Fraction(20), Fraction(200, 11), Fraction(2997, 100)])
def test_a_silent_speed_has_no_timecode_of_its_own(rate):
    with pytest.raises(ValueError, match=r"no timecode counts at .* expected one of 24000/1001, 24, 25"):
        format_timecode(0, rate)


@pytest.mark.parametrize("rate", [rate for rate in RATES if rate != NTSC])
def test_drop_frame_exists_at_30000_1001_alone(rate):
    with pytest.raises(ValueError, match="does not exist: expected 30000/1001"):
        format_timecode(0, rate, drop=True)
    with pytest.raises(ValueError, match="does not exist: expected 30000/1001"):
        parse_timecode("00:00:00;00", rate)
