"""Every choice is explained in a sentence with its numbers, and the numbers are those of the plans."""

from dataclasses import replace

import pytest

from relay.errors import MissingError
from relay.shifts.explain import why
from relay.shifts.planner import plan_work, tries
from relay.shifts.problem import Choice, HandOn, Problem, SiteHours, Task, TaskId, Work
from relay.shifts.spoken import how_long
from tests.unit.shifts.chains import rich_chain, small_chain


def test_lengths_of_time_are_told_in_their_two_largest_units():
    told_so = {
        0: "0 min",
        59: "59 min",
        60: "1 h",
        61: "1 h 1 min",
        1440: "1 day",
        1501: "1 day 1 h",
        2879: "1 day 23 h",
        222854: "154 days 18 h",
        -3000: "2 days 2 h",
    }
    assert {minutes: how_long(minutes) for minutes in told_so} == told_so


def two_graders():
    legs = {(here, there): 60 for here in ("kolkata", "tokyo") for there in ("kolkata", "tokyo")}
    sites = (SiteHours("kolkata", ((0, 600),)), SiteHours("tokyo", ((300, 900),)))
    scan = Task(id=TaskId("s"), stage="scan", title="scan of A/R01", choices=(Choice("kolkata", Work.exactly(100)),))
    choices = (Choice("kolkata", Work.exactly(200)), Choice("tokyo", Work.exactly(80)))
    grade = Task(id=TaskId("g"), stage="grade", title="grade of A/R01", choices=choices, after=(scan.id,))
    return Problem(epoch=small_chain(0).epoch, sites=sites, tasks=(scan, grade), legs=legs, premiere=480)


def test_why_there_and_why_then_is_one_sentence_with_its_numbers():
    problem = two_graders()
    plan = plan_work(problem, tries(50))
    assert why(problem, plan, "g") == (
        "grade of A/R01 is at kolkata from 2027-01-04 01:40 UTC to 2027-01-04 05:00 UTC: "
        "scan of A/R01 is there at 2027-01-04 01:40 UTC; "
        "in this plan tokyo would finish it 1 h 20 min later and all of it 1 h 20 min later; "
        "it sets the finish of all, 2027-01-04 05:00 UTC, and 3 h before a date is missed."
    )
    assert "no other site can do it" in why(problem, plan, "s")


def test_what_another_site_would_cost_is_what_it_costs():
    problem = two_graders()
    scan, grade = problem.tasks
    elsewhere = replace(problem, tasks=(scan, replace(grade, choices=grade.choices[1:])))
    assert plan_work(elsewhere).score.finish - plan_work(problem).score.finish == 80


def test_a_hand_on_is_explained_piece_by_piece():
    problem = two_graders()
    scan, grade = problem.tasks
    slow = replace(
        grade,
        choices=tuple(replace(each, work=Work.exactly(700)) for each in grade.choices),
        hand_on=HandOn({("kolkata", "tokyo"): 30}, 10),
    )
    changed = replace(problem, tasks=(scan, slow))
    said = why(changed, plan_work(changed, tries(50)), "g")
    assert "is at kolkata and tokyo" in said
    assert "tokyo goes on at 2027-01-04 10:30 UTC: the work so far lands at 2027-01-04 10:30 UTC" in said
    assert "a date that depends on it is missed by" in said


def test_a_task_that_is_not_planned_is_not_explained():
    problem = two_graders()
    with pytest.raises(MissingError, match="no task 'x'"):
        why(problem, plan_work(problem), "x")


@pytest.mark.parametrize("seed", range(8))
def test_every_choice_in_a_rich_plan_has_its_sentence(seed):
    problem = rich_chain(seed)
    plan = plan_work(problem, tries(60))
    for task, outlook in plan.outlooks.items():
        said = why(problem, plan, task)
        assert all(site in said for site in outlook.sites)
        assert said.endswith(".")
        assert "None" not in said
