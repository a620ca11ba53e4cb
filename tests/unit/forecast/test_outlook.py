"""A small chain worked out by hand: two reels are scanned in Halifax and graded by one pair of hands in Kolkata.

Monday 4 January 2027, 08:00 UTC. The print arrives on Tuesday. Halifax works 12:00-16:00 and 17:00-21:00 UTC, at 4,000
frames an hour with two hands: R01 takes 240 minutes, until Tuesday 16:00; R02 120, until 14:00. A frame has 12,748,800
bytes and both lines carry 10^7 bytes a second: R01 is under way for 680 minutes, until Wednesday 03:20, R02 for 340,
until Tuesday 19:40. Kolkata works 04:30-12:30 UTC, at 1,000 frames an hour: 24,000 frames are three days, until Friday.
"""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from relay.errors import RefusedError
from relay.forecast.awake import presences
from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, forecast
from relay.forecast.prints import prints_of
from relay.forecast.sharing import shared_lines
from relay.forecast.supposing import supposed
from relay.forecast.words import at_the_door, at_the_doors, headline, of_a_line, of_a_print, told
from tests.unit.forecast.scene import House, film

ROUTE = [{"name": "scan", "rate": 2000}, {"name": "grade", "after": ["scan"], "rate": 1000}]


def ground(**changes: Any) -> Ground:
    idle = {"site__lisbon": {"stages": []}}
    kolkata = {"stages": ["grade"], **changes.pop("site__kolkata", {})}
    house = House.of(film(**{"stage": ROUTE, **idle, "site__kolkata": kolkata, **changes}))
    return Ground.of(house.state, house.clock)


def steps(count: int = 60) -> Any:
    """Return a budget of so many looks: the same plan on every machine."""
    left = [count]

    def share() -> float:
        left[0] -= 1
        return left[0] / count

    return share


def planned(there: Ground) -> Forecast:
    return forecast(there, steps())


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 1, day, hour, minute, tzinfo=UTC)


def test_the_finish_is_that_of_the_sum_by_hand():
    found = planned(ground())
    assert found.finish == at(8, 12, 30)
    # At best four fifths of the work: 1,152 minutes of grading are two days and 192 minutes.
    assert found.low == at(8, 7, 42)
    # At worst half as much again: 36 hours are four days and four hours, over a weekend.
    assert found.high >= at(12, 8, 30)
    assert {reel.reel: reel.left for reel in found.reels} == {"A/R01": 2, "A/R02": 2}
    assert found.reels[0].finish == at(8, 12, 30)


def test_the_chain_that_sets_a_reel_s_finish_begins_with_its_scan():
    found = planned(ground())
    last = found.reels[0]
    assert last.chain[0].startswith("scan/A/")
    assert last.chain[-1] == f"grade/{last.reel}/1"
    assert last.slack == 0
    assert [link.task for link in found.plan.chain][-1] == f"grade/{last.reel}/1"


@pytest.mark.parametrize(
    ("what", "finish"),
    [
        ("kolkata one more at grade", at(7, 12, 30)),  # side by side: R01's 16 hours are two days
        ("kolkata closed 2027-01-07", at(11, 12, 30)),  # Thursday's work moves to Friday, Friday's to Monday
        ("A arrives 2027-01-12", at(15, 12, 30)),  # all of it a week later
        ("halifax line 2", at(8, 12, 30)),  # both reels are there before Kolkata opens as it is
        (
            "kolkata line 0.1",
            at(15, 12, 30),
        ),  # 10^6 bytes a second: R02 lands on Thursday 6:16, R01 on Friday: see below
    ],
)
def test_what_is_supposed_moves_the_finish_as_reckoned_by_hand(what: str, finish: datetime):
    there = planned(supposed(ground(), what))
    if what == "kolkata line 0.1":
        # R02: 102 GB at 10^7 and then 10^6 bytes a second, 1,870 minutes after Tuesday 14:00: Wednesday 21:10. Graded
        # on Thursday. R01: 3,740 minutes after Tuesday 16:00: Friday 06:20. 16 hours from there: Friday 370 minutes,
        # Monday 480, Tuesday 110, until 06:20.
        finish = at(12, 6, 20)
    assert there.finish == finish


def test_a_premiere_that_will_be_missed_is_told_with_by_how_much():
    found = planned(
        ground(premiere={"at": "2027-01-07T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall"})
    )
    assert headline(found).startswith("if nothing changes, late by 18 h 30 min: finished Fri 2027-01-08 12:30 UTC")
    early = planned(ground())
    assert "41 days 5 h before the premiere" in headline(early)  # 18 February 18:00 UTC
    near = planned(
        ground(premiere={"at": "2027-01-10T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall"})
    )
    assert "2 days 5 h before the premiere, and at worst 1 day" in headline(near)


def test_after_the_premiere_a_sentence_says_what_to_do_and_who_is_awake_is_still_told():
    past = ground(premiere={"at": "2027-01-03T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall"})
    with pytest.raises(
        RefusedError, match="the premiere was Sun 2027-01-03 18:00 UTC, and 4 things are left"
    ) as told_so:
        planned(past)
    assert "`relay production revise`" in str(told_so.value)
    assert [each.site for each in presences(past) if each.is_awake] == ["oslo", "lisbon", "kolkata"]


def test_a_line_that_two_scans_take_at_once_is_named_with_how_much_later_the_second_may_land():
    """R02 lands on Tuesday at 19:40; if R01, ready at 16:00, waits for that, it lands 3 h 40 min later than planned."""
    found = planned(ground())
    (line,) = shared_lines(found)
    assert (line.site, line.things, line.since, line.later) == ("kolkata", 2, at(5, 16), 220)
    assert of_a_line(line) == (
        "2 things are on their way to kolkata at once, the first time Tue 2027-01-05 16:00 UTC; each is planned with "
        "the line to itself, so one may land up to 3 h 40 min later"
    )
    quick = {"line": 100_000}
    assert shared_lines(planned(ground(site__kolkata=quick, site__halifax=quick))) == ()


def test_what_lands_just_after_closing_time_is_named():
    # Kolkata from 16:00 to 01:00 is 10:30 to 19:30 UTC; R02 lands on Tuesday at 19:40.
    found = planned(ground(site__kolkata={"shift": [{"from": "16:00", "to": "01:00"}]}))
    assert planned(ground()).shut_doors == (), "R02 lands seven hours after closing: no better day would have helped"
    (door,) = [each for each in found.shut_doors if each.arrival.task == "scan/A/R02/1"]
    assert at_the_door(found, door) == (
        "scan of A/R02 lands at kolkata Wed 06 Jan 01:10, 10 min after they close; they go on Wed 16:00"
    )


def test_an_arrival_that_two_tasks_wait_for_is_told_once():
    found = planned(ground(site__kolkata={"shift": [{"from": "16:00", "to": "01:00"}]}))
    assert found.shut_doors
    twice = replace(found, plan=replace(found.plan, arrivals=found.plan.arrivals * 2))
    assert len(twice.shut_doors) == 2 * len(found.shut_doors)
    assert at_the_doors(twice) == at_the_doors(found)


def test_a_print_goes_back_in_time_or_is_told_to_be_late():
    found = planned(ground())
    (tinted,) = prints_of(found)
    # The last scan is done on Tuesday 16:00 UTC; due back on the 29th, three days under way: the 26th is the last day,
    # which ends in Halifax at 04:00 UTC on the 27th: 21 days and 12 hours later.
    assert (tinted.last_needed, tinted.leaves, tinted.spare) == (at(5, 16), at(27, 4), (21 * 24 + 12) * 60)
    assert of_a_print(tinted) == (
        "print A at halifax is needed until Tue 2027-01-05 16:00 UTC and leaves for Copper Shelf Film Vault by "
        "Tue 2027-01-26, 21 days 12 h to spare"
    )
    (late,) = prints_of(planned(supposed(ground(), "A arrives 2027-01-26")))
    assert late.last_needed == at(26, 16)
    assert of_a_print(late).endswith("12 h to spare")


def test_a_print_that_comes_after_it_must_leave_overstays_and_that_is_told():
    (late,) = prints_of(planned(supposed(ground(), "A arrives 2027-01-28")))
    assert late.spare is not None
    assert late.spare < 0
    assert "too late: ask for longer" in of_a_print(late)


def test_a_print_that_nobody_needs_any_more_can_go():
    house = House.of(film(stage=ROUTE, site__lisbon={"stages": []}, site__kolkata={"stages": ["grade"]}))
    for reel in ("R01", "R02"):
        house.delivers(f"scan/A/{reel}", "halifax")
    house.opens()
    (tinted,) = prints_of(planned(Ground.of(house.state, house.clock)))
    assert tinted.last_needed is None
    assert "is not needed any more: it can go back to Copper Shelf Film Vault" in of_a_print(tinted)


def test_a_production_that_is_done_has_nothing_left():
    house = House.of(film(stage=ROUTE[:1], site__lisbon={"stages": []}, site__kolkata={"stages": []}))
    for reel in ("R01", "R02"):
        house.does(f"scan/A/{reel}", "halifax")
    found = planned(Ground.of(house.state, house.clock))
    assert found.is_done
    assert headline(found) == "nothing is left to do"
    assert found.reels == ()


def test_what_nobody_can_do_is_named_in_a_sentence():
    with pytest.raises(RefusedError, match="No site can do grade of A/R01"):
        planned(ground(site__kolkata={"stages": []}))
    closed = {"closed": [{"from": "2026-01-01", "to": "2099-01-01"}]}
    with pytest.raises(RefusedError, match="grade of A/R01 can never be done: kolkata does not open again"):
        planned(ground(site__kolkata=closed))


def test_places_in_a_plan_are_told_as_people_call_them():
    assert told("copy at lisbon/worker, seen at oslo/desk, not a/b") == "copy at lisbon's worker, seen at oslo, not a/b"
