from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.gauges import GAUGES
from relay.film.rates import (
    ARCHIVE_RATES,
    feet_per_minute,
    format_rate,
    format_running_time,
    frames_in_time,
    parse_rate,
    parse_running_time,
    rate_at,
    running_time,
    samples_per_frame,
)
from tests.references import film_figures as figures

NTSC_FILM, NTSC = Fraction(24000, 1001), Fraction(30000, 1001)
rates = st.builds(Fraction, st.integers(1, 999_999), st.integers(1, 999_999)).filter(lambda rate: 1 <= rate <= 120)


def seconds_of(minutes_and_seconds: str) -> Fraction:
    minutes, seconds = minutes_and_seconds.split(":")
    return int(minutes) * 60 + Fraction(seconds)


@pytest.mark.parametrize(("name", "speed", "feet", "_time"), figures.FEET_PER_MINUTE_AND_TIME_OF_1000_FEET)
def test_film_runs_at_the_feet_a_minute_of_the_table(name, speed, feet, _time):
    assert round(feet_per_minute(parse_rate(speed), GAUGES[name]), 3) == Fraction(feet)


@pytest.mark.parametrize(("name", "speed", "_feet", "time"), figures.FEET_PER_MINUTE_AND_TIME_OF_1000_FEET)
def test_a_thousand_feet_last_as_long_as_the_table_says(name, speed, _feet, time):
    frames = int(1000 * GAUGES[name].frames_per_foot)
    assert round(running_time(frames, parse_rate(speed)), 3) == seconds_of(time)


@pytest.mark.parametrize(("name", "speed", "_feet", "time"), figures.FEET_PER_MINUTE_AND_TIME_OF_1000_FEET)
def test_a_running_time_reads_as_the_table_prints_it(name, speed, _feet, time):
    shown = format_running_time(running_time(int(1000 * GAUGES[name].frames_per_foot), parse_rate(speed)))
    minutes, seconds = time.split(":")
    whole_hours = f"{int(minutes) // 60}:{int(minutes) % 60:02d}:{seconds}"
    assert shown == (time if int(minutes) < 60 else whole_hours)


def test_a_reel_lasts_eleven_minutes_six_and_two_thirds_seconds_at_sound_speed():
    assert running_time(16_000, Fraction(24)) == 11 * 60 + Fraction(20, 3)  # "Silent Film Speed", 1955
    assert running_time(16_000, Fraction(16)) == 16 * 60 + 40  # the same


@pytest.mark.parametrize(("feet", "speed"), figures.RECOMMENDED_IN_1924)
def test_the_speeds_recommended_in_1924_are_exact_frames_a_second(feet, speed):
    assert rate_at(feet, GAUGES["35mm"]) == speed
    assert feet_per_minute(speed, GAUGES["35mm"]) == feet


@pytest.mark.parametrize(("text", "rate", "samples"), figures.ARCHIVE_RATES)
def test_archive_rates_are_those_of_the_standard_and_give_whole_samples(text, rate, samples):
    assert parse_rate(text) == rate
    assert samples_per_frame(rate) == samples


def test_the_nominal_rates_beside_them_give_no_whole_samples():
    assert samples_per_frame(Fraction(18)).denominator != 1
    assert samples_per_frame(Fraction(22)).denominator != 1


def test_ntsc_rates_share_their_samples_over_five_frames():
    assert samples_per_frame(NTSC) == Fraction(8008, 5)  # memory: the 5-frame sequence of 48 kHz sound, 8008 samples
    assert samples_per_frame(NTSC_FILM) == 2002


@pytest.mark.parametrize("speed", range(14, 26))
def test_whole_speeds_from_14_to_25_are_themselves(speed):
    assert parse_rate(str(speed)) == parse_rate(f"{speed} fps") == parse_rate(f"{speed}.0") == speed
    assert format_rate(Fraction(speed)) == str(speed)


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("24000/1001", NTSC_FILM),
        ("23.976", NTSC_FILM),
        ("23.98", NTSC_FILM),
        ("23.97602398", NTSC_FILM),
        ("30000/1001", NTSC),
        ("29.97", NTSC),
        ("29.970 fps", NTSC),
        ("18.18", Fraction(200, 11)),
        ("21.818", Fraction(240, 11)),
        ("18 archive", Fraction(200, 11)),
        ("22 (Archive)", Fraction(240, 11)),
        ("16 2/3", Fraction(50, 3)),
        ("16.67", Fraction(50, 3)),
        ("21.333", Fraction(64, 3)),
        ("17.5", Fraction(35, 2)),
        ("16.25", Fraction(65, 4)),
        ("2397/100", Fraction(2397, 100)),
        (" 18 frames/s ", Fraction(18)),
    ],
)
def test_a_rate_is_read_as_people_write_it(text, rate):
    assert parse_rate(text) == rate


@pytest.mark.parametrize("text", ["23.97", "29.98", "18.19", "21.81", "16.66", "24.001", "23.9761"])
def test_a_decimal_that_nearly_means_a_rate_is_refused_with_both_ways_out(text):
    with pytest.raises(ValueError, match="but no rounding of it: write") as refusal:
        parse_rate(text)
    assert str(Fraction(text)) in str(refusal.value)
    assert parse_rate(str(Fraction(text))) == Fraction(text)


@pytest.mark.parametrize(
    "text",
    ["", "fast", "-18", "18/0", "18,5", "1e2", "16 2/3 1", "16 5/3", "16 3/3", "nan", "18 (nominal)", "١٨", "18//1"],
)
def test_what_is_no_rate_is_refused_with_examples(text):
    with pytest.raises(ValueError, match=r"is not a rate: write it like 18, 24000/1001, 16 2/3"):
        parse_rate(text)


@pytest.mark.parametrize("text", ["0", "0.5", "0/1", "1/2", "121", "999999/1"])
def test_a_rate_that_no_film_runs_at_is_refused(text):
    with pytest.raises(ValueError, match="out of range: expected 1 to 120 frames a second"):
        parse_rate(text)


@pytest.mark.parametrize("text", ["24 (archive)", "0 archive"])
def test_an_archive_rate_that_the_standard_lacks_is_refused(text):
    with pytest.raises(ValueError, match="is not an archive rate: expected one of 16, 18, 20, 22"):
        parse_rate(text)


@given(rate=rates)
def test_a_rate_is_read_back_from_its_own_form(rate):
    assert parse_rate(format_rate(rate)) == rate


@pytest.mark.parametrize(("name", "rate"), ARCHIVE_RATES.items())
def test_an_archive_rate_is_never_shown_as_the_rate_it_is_called_after(name, rate):
    assert (format_rate(rate) == str(name)) == (rate == name)


@given(frames=st.integers(-10_000_000, 10_000_000), rate=rates)
def test_frames_are_read_back_from_their_running_time(frames, rate):
    assert frames_in_time(running_time(frames, rate), rate) == frames


@given(frames=st.integers(0, 10_000_000), rate=rates)
def test_sound_and_picture_of_the_same_frames_last_equally_long(frames, rate):
    assert frames * samples_per_frame(rate) / 48_000 == running_time(frames, rate)


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (Fraction(0), "0:00"),
        (Fraction(59), "0:59"),
        (Fraction(60), "1:00"),
        (Fraction(3599), "59:59"),
        (Fraction(3600), "1:00:00"),
        (Fraction(1, 2), "0:00.500"),
        (Fraction(59_999_6, 10_000), "1:00"),
        (Fraction(-8), "-0:08"),
        (Fraction(-1, 10_000), "0:00"),
    ],
)
def test_a_running_time_is_shown_to_the_millisecond_where_it_has_any(seconds, shown):
    assert format_running_time(seconds) == shown


@given(st.fractions(0, 20_000).map(lambda seconds: Fraction(round(seconds * 1000), 1000)))
def test_a_running_time_that_was_written_is_read_back(seconds: Fraction):
    assert parse_running_time(format_running_time(seconds)) == seconds


@pytest.mark.parametrize("text", ["", "1:60", "1:2", "1:60:00", "-3", "1e3", "1:02:", "0:00.1234567890"])
def test_what_is_no_running_time_is_refused(text: str):
    with pytest.raises(ValueError, match="is not a running time"):
        parse_running_time(text)
