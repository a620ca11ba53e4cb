"""Open hours, beside a count of every minute."""

from hypothesis import given
from hypothesis import strategies as st

from relay.shifts.openings import FAR, Openings

HORIZON = 240


@st.composite
def windows(draw):
    edges = sorted(draw(st.sets(st.integers(0, HORIZON), min_size=2, max_size=12)))
    return tuple(zip(edges[::2], edges[1::2], strict=False))


def minutes_of(hours):
    return [minute for opens, closes in hours for minute in range(opens, closes)]


@given(windows(), st.integers(0, HORIZON), st.integers(1, 80))
def test_work_ends_after_as_many_open_minutes_as_it_takes(hours, ready, work):
    minutes = [minute for minute in minutes_of(hours) if minute >= ready]
    start, finish = Openings(hours).place(ready, work)
    assert start == (minutes[0] if minutes else FAR)
    assert finish == (minutes[work - 1] + 1 if len(minutes) >= work else FAR)


@given(windows(), st.integers(0, HORIZON), st.integers(1, 80))
def test_the_last_start_is_the_last_that_is_in_time(hours, finish, work):
    openings = Openings(hours)
    in_time = [minute for minute in minutes_of(hours) if openings.place(minute, work)[1] <= finish]
    assert openings.last_start(finish, work) == (max(in_time) if in_time else -FAR)


@given(windows(), st.integers(0, HORIZON), st.integers(1, 80))
def test_work_of_one_shift_begins_and_ends_in_it(hours, ready, work):
    merged = set(minutes_of(hours))
    whole = [at for at in range(ready, HORIZON) if merged.issuperset(range(at, at + work))]
    openings = Openings(hours)
    assert openings.place_in_one(ready, work) == ((whole[0], whole[0] + work) if whole else (FAR, FAR))
    late = [at for at in range(HORIZON) if merged.issuperset(range(at, at + work)) and at + work <= ready]
    assert openings.last_start_in_one(ready, work) == (late[-1] if late else -FAR)


@given(windows(), st.integers(0, HORIZON), st.integers(0, HORIZON))
def test_worked_minutes_and_spells_are_the_open_minutes_between(hours, one, two):
    start, finish = sorted((one, two))
    inside = [minute for minute in minutes_of(hours) if start <= minute < finish]
    openings = Openings(hours)
    assert openings.worked(start, finish) == len(inside)
    assert minutes_of(openings.spells(start, finish)) == inside


@given(windows(), st.integers(0, HORIZON))
def test_the_longest_shift_is_the_longest_run_of_open_minutes(hours, since):
    run = best = 0
    minutes = set(minutes_of(hours))
    for minute in range(since, HORIZON):
        run = run + 1 if minute in minutes else 0
        best = max(best, run)
    assert Openings(hours).longest(since) == best


@given(windows(), st.integers(0, HORIZON), st.integers(1, 3))
def test_a_closing_is_one_that_comes_later(hours, start, shifts):
    merged = set(minutes_of(hours))
    closings = [minute + 1 for minute in sorted(merged) if minute + 1 not in merged and minute >= start]
    found = Openings(hours).closing(start, shifts)
    assert found == (closings[shifts - 1] if len(closings) >= shifts else FAR)
    assert Openings(hours).last_open(start) == max((each for each in merged if each <= start), default=-FAR)


def test_two_windows_that_touch_are_one_shift():
    assert Openings(((0, 60), (60, 120))).place_in_one(0, 90) == (0, 90)


def test_a_last_start_that_would_fall_on_a_closing_is_the_next_opening():
    assert Openings(((0, 60), (100, 160))).last_start(130, 30) == 100
