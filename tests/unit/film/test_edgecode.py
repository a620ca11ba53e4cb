from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.film.edgecode import EdgeCode, edge_code_at, frame_of, perforation_of
from relay.film.gauges import GAUGES
from tests.references import film_figures as figures

CODED = [gauge for gauge in GAUGES.values() if gauge.perforations_per_count]


@pytest.mark.parametrize(("name", "perforations"), figures.PERFORATIONS_PER_COUNT.items())
def test_counts_lie_as_far_apart_as_the_standards_give(name, perforations):
    gauge = GAUGES[name]
    assert perforation_of(EdgeCode(1, 0), gauge) - perforation_of(EdgeCode(0, 0), gauge) == perforations


def test_35_mm_counts_every_foot_and_16_mm_every_half_foot():
    # OpenEXR's ImfKeyCode.h, citing SMPTE 254 and 271: 16 frames and 20 frames to a count.
    assert frame_of(EdgeCode(1, 0), GAUGES["35mm"]) == 16 == GAUGES["35mm"].frames_per_foot
    assert frame_of(EdgeCode(1, 0), GAUGES["16mm"]) == 20 == GAUGES["16mm"].frames_per_foot / 2


def test_a_frame_is_counted_from_its_number_and_its_offset():
    # SMPTE 254 and 271, by hand: (5678 x 64 + 32) / 4 and (2322 x 20 + 12) / 1.
    assert frame_of(EdgeCode(5678, 32), GAUGES["35mm"]) == 90_856
    assert frame_of(EdgeCode(2322, 12), GAUGES["16mm"]) == 46_452


def test_three_perforation_frames_meet_a_mark_every_third_count():
    whole = [frame_of(EdgeCode(count, 0), GAUGES["35mm-3perf"]).denominator == 1 for count in range(6)]
    assert whole == [True, False, False, True, False, False]


@given(
    gauge=st.sampled_from(CODED),
    first=st.integers(0, 600_000 // 64),
    frames=st.integers(0, 2000),
    start=st.integers(0, 7),
)
def test_two_frames_of_one_take_differ_by_a_whole_number(gauge, first, frames, start):
    here = edge_code_at(first + start, gauge)
    there = edge_code_at(first + start + frames * gauge.perforations_per_frame, gauge)
    assert frame_of(there, gauge) - frame_of(here, gauge) == frames


@given(gauge=st.sampled_from(CODED), count=st.integers(*figures.EDGE_COUNT_RANGE), offset=st.integers(0, 19))
def test_a_place_on_the_roll_is_read_back_from_its_perforation(gauge, count, offset):
    code = EdgeCode(count, offset)
    assert edge_code_at(perforation_of(code, gauge), gauge) == code


def test_the_limits_are_those_of_the_standards():
    lowest, highest = zip(figures.EDGE_COUNT_RANGE, figures.EDGE_OFFSET_RANGE, strict=True)
    assert EdgeCode(*lowest) != EdgeCode(*highest)


@pytest.mark.parametrize(("count", "offset"), [(-1, 0), (10_000, 0), (0, -1), (0, 120)])
def test_a_code_out_of_range_is_refused(count, offset):
    with pytest.raises(ValueError, match="out of range: expected 0 to"):
        EdgeCode(count, offset)


@pytest.mark.parametrize("perforation", [-1, 64 * 10_000])
def test_a_place_off_the_roll_is_refused(perforation):
    with pytest.raises(ValueError, match="out of range"):
        edge_code_at(perforation, GAUGES["35mm"])


@pytest.mark.parametrize("name", sorted(set(GAUGES) - {gauge.name for gauge in CODED}))
def test_a_gauge_without_edge_code_is_refused(name):
    with pytest.raises(ValueError, match=f"{name} has no edge code of a known spacing: expected one of 35mm"):
        frame_of(EdgeCode(1, 0), GAUGES[name])


def test_a_frame_index_is_exact():
    assert frame_of(EdgeCode(1, 1), GAUGES["35mm-3perf"]) == Fraction(65, 3)
