from dataclasses import FrozenInstanceError
from fractions import Fraction

import pytest

from relay.film.gauges import GAUGES, parse_gauge
from tests.references import film_figures as figures

MM_PER_FOOT = Fraction(3048, 10)


@pytest.mark.parametrize(("name", "frames"), figures.FRAMES_PER_FOOT.items())
def test_a_foot_holds_the_frames_that_the_standards_give(name, frames):
    assert GAUGES[name].frames_per_foot == frames


@pytest.mark.parametrize(("name", "frames"), figures.FRAMES_PER_FOOT_FROM_MEMORY.items())
def test_a_foot_holds_the_frames_remembered_where_no_source_was_read(name, frames):
    assert GAUGES[name].frames_per_foot == frames


def test_every_gauge_is_held_by_a_figure():
    assert set(GAUGES) == set(figures.FRAMES_PER_FOOT) | set(figures.FRAMES_PER_FOOT_FROM_MEMORY)


@pytest.mark.parametrize("name", ["16mm", "8mm", "super8"])
def test_frames_per_foot_is_the_foot_divided_by_the_frame_height(name):
    assert GAUGES[name].frames_per_foot == MM_PER_FOOT / figures.FRAME_HEIGHT_MM[name]


@pytest.mark.parametrize(("name", "within"), [("35mm", "0.003"), ("70mm", "0.003"), ("9.5mm", "0.011")])
def test_a_nominal_foot_is_near_the_foot_divided_by_the_frame_height(name, within):
    measured = MM_PER_FOOT / figures.FRAME_HEIGHT_MM[name]
    assert abs(GAUGES[name].frames_per_foot / measured - 1) < Fraction(within)


@pytest.mark.parametrize("name", ["35mm", "35mm-3perf", "35mm-2perf", "35mm-8perf"])
def test_each_foot_of_35_mm_has_64_perforations_whatever_the_frame_height(name):
    gauge = GAUGES[name]
    assert gauge.frames_per_foot * gauge.perforations_per_frame == figures.PERFORATIONS_PER_FOOT_35MM


@pytest.mark.parametrize(("name", "perforations"), figures.PERFORATIONS_PER_FRAME.items())
def test_a_frame_takes_the_perforations_that_the_edge_code_standards_give(name, perforations):
    assert GAUGES[name].perforations_per_frame == perforations


@pytest.mark.parametrize("name", GAUGES)
def test_a_gauge_is_read_back_from_its_own_name(name):
    assert parse_gauge(name) is GAUGES[name]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("35 mm", "35mm"),
        ("35MM-4perf", "35mm"),
        ("35 mm 3-perf", "35mm-3perf"),
        ("Super 8", "super8"),
        ("Single-8", "super8"),
        ("Double 8", "8mm"),
        ("9.5 mm", "9.5mm"),
        ("70mm 5-perf", "70mm"),
    ],
)
def test_a_gauge_is_read_as_people_write_it(text, name):
    assert parse_gauge(text).name == name


@pytest.mark.parametrize("text", ["", "35", "17.5mm", "mm35", "super 16", "35mm;8mm"])
def test_an_unknown_gauge_is_refused_with_all_that_are_known(text):
    with pytest.raises(ValueError) as refusal:
        parse_gauge(text)
    assert repr(text) in str(refusal.value)
    assert all(name in str(refusal.value) for name in GAUGES)


def test_the_table_cannot_be_changed():
    with pytest.raises(TypeError):
        GAUGES["35mm"] = GAUGES["16mm"]
    with pytest.raises(FrozenInstanceError):
        GAUGES["35mm"].frames_per_foot = Fraction(15)
