from fractions import Fraction
from itertools import chain, repeat

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.cadence import LONGEST_PATTERN, Cadence, drift
from relay.film.rates import ARCHIVE_RATES, running_time
from tests.references import film_figures as figures

FILM, SOUND = Fraction(16), Fraction(24)
speeds = st.sampled_from(
    [
        *map(Fraction, range(14, 31)),
        *ARCHIVE_RATES.values(),
        Fraction(24000, 1001),
        Fraction(30000, 1001),
        Fraction(64, 3),
    ]
)
phases = st.fractions(0, Fraction(999, 1000), max_denominator=1000)
cadences = st.builds(Cadence, speeds, speeds, phases)
begun_at_0 = st.builds(Cadence, speeds, speeds)
lengths = st.integers(0, 600)


@pytest.mark.parametrize(("source", "target", "repeats"), figures.REPEATS)
def test_silent_speeds_are_stretched_by_the_published_patterns(source, target, repeats):
    assert Cadence(Fraction(source), Fraction(target)).pattern() == repeats


def test_16_to_24_shows_every_second_frame_twice():
    # Abstract of a handbook chapter on extending action: every second frame is printed twice.
    cadence = Cadence(FILM, SOUND)
    assert [cadence.input_at(output) for output in range(6)] == [0, 0, 1, 2, 2, 3]
    assert Cadence(FILM, SOUND, Fraction(1, 2)).pattern() == (1, 2)


def test_an_archive_print_called_18_is_not_stretched_like_one_of_18():
    assert Cadence(ARCHIVE_RATES[18], SOUND).step == Fraction(25, 33)
    pattern = Cadence(ARCHIVE_RATES[18], SOUND).pattern()
    assert (len(pattern), sum(pattern)) == (25, 33)


@given(source=speeds, target=speeds, output=st.integers(-100_000, 1_000_000))
def test_output_k_shows_input_floor_of_k_times_from_over_to(source, target, output):
    # The general rule, in whole numbers only.
    expected = output * source.numerator * target.denominator // (source.denominator * target.numerator)
    assert Cadence(source, target).input_at(output) == expected


@given(cadence=cadences, output=st.integers(-100_000, 1_000_000))
def test_an_output_frame_is_among_those_of_the_frame_that_it_shows(cadence, output):
    assert output in cadence.outputs_of(cadence.input_at(output))


@given(cadence=cadences, frame=st.integers(-100_000, 1_000_000))
def test_every_output_of_a_frame_shows_that_frame(cadence, frame):
    assert {cadence.input_at(output) for output in cadence.outputs_of(frame)} <= {frame}


@given(cadence=cadences, frames=lengths)
def test_nothing_is_lost_and_nothing_added(cadence, frames):
    shown = [cadence.input_at(output) for output in range(cadence.length(frames))]
    by_repeats = chain.from_iterable(repeat(frame, times) for frame, times in enumerate(cadence.repeats(0, frames)))
    assert shown == list(by_repeats)


@given(cadence=cadences, frames=lengths)
def test_stretching_shows_every_frame_and_quickening_shows_none_twice(cadence, frames):
    times = {len(cadence.outputs_of(frame)) for frame in range(frames)}
    assert 0 not in times if cadence.step <= 1 else times <= {0, 1}


@given(cadence=begun_at_0, frames=lengths)
def test_a_change_of_speed_keeps_time_to_under_a_frame(cadence, frames):
    late = cadence.length(frames) / cadence.target - running_time(frames, cadence.source)
    assert 0 <= late * cadence.target < 1


@given(source=speeds, target=speeds, frames=lengths)
def test_taken_at_the_middle_a_change_of_speed_keeps_time_to_half_a_frame(source, target, frames):
    cadence = Cadence(source, target, Fraction(1, 2))
    late = cadence.length(frames) / target - running_time(frames, source)
    assert abs(late * target) <= Fraction(1, 2)


@given(cadence=cadences, frames=st.integers(1, 500))
def test_the_pattern_repeated_is_the_whole_film(cadence, frames):
    pattern = cadence.pattern()
    assert list(cadence.repeats(0, frames)) == [pattern[frame % len(pattern)] for frame in range(frames)]
    assert sum(pattern) == len(pattern) / cadence.step


@given(cadence=begun_at_0, output=st.integers(0, 1_000_000))
def test_what_is_shown_lags_by_less_than_one_frame_and_never_runs_ahead(cadence, output):
    assert 0 <= cadence.lag(output) < 1
    assert cadence.lag(output) + cadence.input_at(output) == running_time(output, cadence.target) * cadence.source


@given(speed=speeds, frames=lengths)
def test_a_film_at_its_own_speed_is_left_as_it_is(speed, frames):
    assert list(Cadence(speed, speed).repeats(0, frames)) == [1] * frames


def test_a_pattern_that_hardly_ever_repeats_is_refused_but_can_be_walked():
    odd = Cadence(Fraction(999_983, 62_501), SOUND)
    with pytest.raises(ValueError, match=f"expected at most {LONGEST_PATTERN}; ask for the repeats"):
        odd.pattern()
    assert sum(odd.repeats(0, 1000)) == odd.length(1000)


@pytest.mark.parametrize(("source", "target"), [(0, 24), (16, 0), (-16, 24), (16, -24)])
def test_a_speed_of_nothing_is_refused(source, target):
    with pytest.raises(ValueError, match="expected frames a second above 0"):
        Cadence(Fraction(source), Fraction(target))


@pytest.mark.parametrize("phase", [Fraction(-1, 2), Fraction(1)])
def test_a_phase_of_a_whole_frame_is_refused(phase):
    with pytest.raises(ValueError, match="expected 0 to below 1 output frame"):
        Cadence(FILM, SOUND, phase)


def test_18_and_the_archive_rate_called_18_part_by_nine_seconds_a_reel():
    # By hand: 16,000 frames last 8000/9 s at 18 and 880 s at 200/11; 80/9 s apart, 640/3 frames at 24.
    at_archive_rate = running_time(16_000, ARCHIVE_RATES[18])
    assert drift(16_000, Fraction(18), at_archive_rate, SOUND) == Fraction(640, 3)


@given(frames=lengths, rate=speeds, sound=st.fractions(0, 10_000), at=speeds)
def test_drift_is_what_must_be_cut_for_picture_and_sound_to_end_together(frames, rate, sound, at):
    assert running_time(frames, rate) - drift(frames, rate, sound, at) / at == sound
