"""Shifts, days off and overtime as true minutes."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.model import Weekday
from relay.shifts.calendar import Calendar, NeverOpensError
from relay.shifts.windows import Window, joined, within, without
from tests.unit.shifts.scene import calendar, counted, hours, off, shift, utc

DAY = 1440


def test_a_night_shift_in_berlin_lasts_nine_hours_when_the_clock_is_set_back_and_seven_when_it_is_set_forward() -> None:
    """Source: computed with PyPI tzdata 2026f: 22:00-06:00 on 24/25 October and on 28/29 March 2026."""
    nights = calendar("Europe/Berlin", shift("22:00", "06:00"))
    assert nights.worked(utc("2026-10-24T12:00Z"), utc("2026-10-25T12:00Z")) == 9 * 60
    assert nights.worked(utc("2026-03-28T12:00Z"), utc("2026-03-29T12:00Z")) == 7 * 60
    assert nights.worked(utc("2026-06-06T12:00Z"), utc("2026-06-07T12:00Z")) == 8 * 60


def test_several_shifts_a_day_leave_the_break_between_them_out() -> None:
    split = calendar("Asia/Kolkata", shift("09:00", "13:00"), shift("14:00", "18:00"))
    # 09:00 in Kolkata is 03:30 UTC: half-hour zone, +05:30 (PyPI tzdata).
    assert split.windows(utc("2026-05-04T00:00Z"), utc("2026-05-05T00:00Z")) == [
        (utc("2026-05-04T03:30Z"), utc("2026-05-04T07:30Z")),
        (utc("2026-05-04T08:30Z"), utc("2026-05-04T12:30Z")),
    ]


def test_a_shift_from_noon_to_noon_runs_on_without_a_seam() -> None:
    always = calendar("Europe/Lisbon", shift("12:00", "12:00"))
    assert always.windows(0, 30 * DAY) == [(0, 30 * DAY)]


def test_a_shift_inside_the_skipped_hour_is_not_worked() -> None:
    short = calendar("Europe/Berlin", shift("02:10", "02:50"))
    assert short.worked(utc("2026-03-28T12:00Z"), utc("2026-03-29T12:00Z")) == 0
    assert short.worked(utc("2026-03-27T12:00Z"), utc("2026-03-28T12:00Z")) == 40


def test_a_shift_inside_the_doubled_hour_is_worked_once() -> None:
    short = calendar("Europe/Berlin", shift("02:10", "02:50"))
    assert short.windows(utc("2026-10-24T12:00Z"), utc("2026-10-25T12:00Z")) == [
        (utc("2026-10-25T00:10Z"), utc("2026-10-25T00:50Z"))
    ]


def test_a_shift_out_of_the_skipped_hour_begins_at_the_jump_and_never_after_its_end() -> None:
    early = calendar("Europe/Berlin", shift("02:45", "03:15"))
    assert early.windows(utc("2026-03-28T12:00Z"), utc("2026-03-29T12:00Z")) == [
        (utc("2026-03-29T01:00Z"), utc("2026-03-29T01:15Z"))
    ]


def test_no_shift_is_worked_on_the_day_that_samoa_left_out() -> None:
    """Pacific/Apia had no 30 December 2011 (PyPI tzdata)."""
    days = calendar("Pacific/Apia", shift("09:00", "17:00"))
    assert days.windows(utc("2011-12-29T12:00Z"), utc("2012-01-01T00:00Z")) == [
        (utc("2011-12-29T19:00Z"), utc("2011-12-30T03:00Z")),  # the 29th, at -10
        (utc("2011-12-30T19:00Z"), utc("2011-12-31T03:00Z")),  # the 31st, at +14
        (utc("2011-12-31T19:00Z"), utc("2012-01-01T00:00Z")),  # 1 January
    ]


def test_a_day_off_takes_out_the_night_that_begins_on_it_and_not_the_one_that_ends_on_it() -> None:
    nights = calendar("UTC", shift("22:00", "06:00"), closed=(off("2026-05-05"),))
    assert nights.windows(utc("2026-05-04T12:00Z"), utc("2026-05-07T12:00Z")) == [
        (utc("2026-05-04T22:00Z"), utc("2026-05-05T06:00Z")),
        (utc("2026-05-06T22:00Z"), utc("2026-05-07T06:00Z")),
    ]


def test_closed_hours_are_cut_out_and_overtime_is_worked_all_the_same() -> None:
    days = calendar(
        "UTC",
        shift("09:00", "17:00"),
        closed=(off("2026-05-05T12:00", "2026-05-05T14:00"), off("2026-05-06", "2026-05-07")),
        overtime=(hours("2026-05-07T10:00", "2026-05-07T12:00"), hours("2026-05-05T16:00", "2026-05-05T19:00")),
    )
    assert days.windows(utc("2026-05-05T00:00Z"), utc("2026-05-08T00:00Z")) == [
        (utc("2026-05-05T09:00Z"), utc("2026-05-05T12:00Z")),
        (utc("2026-05-05T14:00Z"), utc("2026-05-05T19:00Z")),
        (utc("2026-05-07T10:00Z"), utc("2026-05-07T12:00Z")),
    ]


def test_a_reason_is_known_for_a_day_off() -> None:
    kept = calendar(
        "UTC", shift("09:00", "17:00"), closed=(off("2026-05-05"),), holiday_on={date(2026, 5, 6): "Feast"}.get
    )
    assert [kept.day_off(date(2026, 5, day)) for day in (4, 5, 6)] == [None, "closed", "Feast"]
    assert not kept.is_open(utc("2026-05-06T10:00Z"))


def test_work_goes_on_after_a_closed_weekend() -> None:
    weekdays = calendar("UTC", shift("09:00", "17:00", tuple(Weekday)[:5]))
    friday = utc("2026-05-08T16:00Z")
    assert weekdays.later(friday, 60) == utc("2026-05-08T17:00Z")
    assert weekdays.later(friday, 61) == utc("2026-05-11T09:01Z")
    assert weekdays.earlier(utc("2026-05-11T09:01Z"), 61) == friday


def test_a_site_that_never_opens_is_named() -> None:
    shut = Calendar("halifax", "UTC", ())
    with pytest.raises(NeverOpensError, match="halifax never works for 5 minutes"):
        shut.later(0, 5)
    spring_only = calendar("Europe/Berlin", shift("09:00", "17:00"), holiday_on=lambda _day: "always off")
    with pytest.raises(NeverOpensError, match="halifax never works"):
        spring_only.earlier(utc("2026-05-08T16:00Z"), 5)


ZONES = st.sampled_from(
    [
        "Europe/Berlin",
        "America/Halifax",
        "Asia/Kolkata",
        "Australia/Lord_Howe",
        "Pacific/Auckland",
        "Pacific/Apia",
        "UTC",
    ]
)
TIMES = st.times().map(lambda each: f"{each:%H:%M}")
SHIFTS = st.builds(
    shift, TIMES, TIMES, st.sets(st.sampled_from(Weekday), min_size=1).map(lambda days: tuple(sorted(days)))
)
# Weeks with a change of clocks in one of the zones, or with the day that Samoa left out.
STARTS = st.sampled_from(
    ["2026-03-06", "2026-03-27", "2026-04-03", "2026-09-25", "2026-10-23", "2026-10-30", "2011-12-28"]
)


@st.composite
def calendars(draw: st.DrawFn) -> tuple[Calendar, int]:
    """Draw a calendar with exceptions in the days after the minute that comes with it."""
    start = utc(f"{draw(STARTS)}T00:00Z")
    days = st.integers(-1, 6).map(lambda day: _day(start, day))
    moments = st.tuples(days, TIMES).map("T".join)
    spans = st.tuples(moments, moments).filter(lambda pair: pair[0] < pair[1])
    free = frozenset(draw(st.lists(days, max_size=2)))
    cuts = [off(*pair) for pair in draw(st.lists(spans, max_size=2))]
    drawn = calendar(
        draw(ZONES),
        *draw(st.lists(SHIFTS, max_size=3)),
        closed=tuple(cuts + [off(each) for each in draw(st.lists(days, max_size=2))]),
        overtime=tuple(hours(*pair) for pair in draw(st.lists(spans, max_size=2))),
        holiday_on=lambda day: "feast" if day.isoformat() in free else None,
    )
    return drawn, start


def _day(start: int, day: int) -> str:
    from relay.shifts.zones import instant_of

    return instant_of(start + day * DAY).date().isoformat()


@given(calendars(), st.integers(0, 6 * DAY), st.integers(0, 3 * DAY))
def test_working_time_equals_a_minute_by_minute_count(drawn: tuple[Calendar, int], offset: int, length: int) -> None:
    kept, start = drawn
    first, last = start + offset, start + offset + length
    assert kept.worked(first, last) == len(counted(kept, first, last))
    assert {m for a, b in kept.windows(first, last) for m in range(a, b)} == counted(kept, first, last)


@given(calendars(), st.integers(0, 6 * DAY), st.integers(0, 3000))
def test_adding_working_time_and_taking_it_off_again_returns(
    drawn: tuple[Calendar, int], at: int, minutes: int
) -> None:
    kept, start = drawn
    if not kept.shifts or kept.worked(start + at, start + at + 200 * DAY) < minutes:
        return
    begun = start + at
    done = kept.later(begun, minutes)
    assert kept.worked(begun, done) == minutes
    assert minutes == 0 or kept.worked(begun, done - 1) == minutes - 1, "the first such minute"
    back = kept.earlier(done, minutes)
    assert back >= begun
    assert kept.worked(begun, back) == 0, "between them nobody works: it is the same moment of work"
    assert kept.worked(back, done) == minutes
    assert kept.later(back, minutes) == done


SPANS = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=6)


@given(SPANS, SPANS)
def test_windows_are_what_sets_of_minutes_are(some: list[tuple[int, int]], taken: list[tuple[int, int]]) -> None:
    def minutes(spans: list[tuple[int, int]] | list[Window]) -> set[int]:
        return {minute for a, b in spans for minute in range(a, b)}

    windows = joined(some)
    assert minutes(windows) == minutes(some)
    assert all(a.end < b.start for a, b in pairwise(windows)), "in order and apart"
    assert minutes(without(windows, taken)) == minutes(some) - minutes(taken)
    assert minutes(within(windows, 10, 40)) == minutes(some) & set(range(10, 40))
