"""What cannot be planned is refused in a sentence that names it."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from relay.errors import RefusedError
from relay.shifts.planner import plan_work
from relay.shifts.problem import Choice, Loan, Overnight, Problem, SiteHours, Stay, Task, TaskId, Work

EPOCH = datetime(2027, 3, 1, tzinfo=UTC)
DAY_SHIFT = SiteHours("halifax", ((540, 1020),))
ASLEEP = SiteHours("tokyo", ((0, 60),))


def task(name, *sites, minutes=60, **more):
    choices = tuple(Choice(site, Work.exactly(minutes)) for site in sites)
    return Task(id=TaskId(name), stage="scan", title=f"scan of A/{name}", choices=choices, **more)


def problem(*tasks, **more):
    given = {"epoch": EPOCH, "sites": (DAY_SHIFT, ASLEEP), "legs": {}} | more
    return Problem(tasks=tasks, **given)


IMPOSSIBLE = {
    "no site does the stage": (
        problem(task("R01")),
        r"No site can do scan of A/R01: give the stage 'scan' to a site",
    ),
    "no hand for the stage": (
        problem(task("R01", "halifax"), sites=(replace(DAY_SHIFT, stage_hands={"scan": 0}),)),
        r"No site can do scan of A/R01: halifax has no hand for the stage 'scan'",
    ),
    "a shift that never opens": (
        problem(task("R01", "tokyo"), now=100),
        r"scan of A/R01 can never be done: tokyo does not open again after 2027-03-01 01:40 UTC",
    ),
    "a premiere that is past": (
        problem(task("R01", "halifax"), now=500, premiere=400),
        r"The premiere was at 2027-03-01 06:40 UTC and it is 2027-03-01 08:20 UTC",
    ),
    "a loop": (
        problem(
            task("R01", "halifax", after=("R03",)),
            task("R02", "halifax", after=("R01",)),
            task("R03", "halifax", after=("R02",)),
        ),
        r"runs in a circle: scan of A/R01, then scan of A/R02, then scan of A/R03, then scan of A/R01",
    ),
    "a task before it that is not there": (
        problem(task("R01", "halifax", after=("R09",))),
        r"scan of A/R01 takes from 'R09', which is not among the tasks",
    ),
    "two tasks of one name": (problem(task("R01", "halifax"), task("R01", "tokyo")), r"both called 'R01'"),
    "a site that is not there": (problem(task("R01", "oslo")), r"may be done at 'oslo', but no such site"),
    "work longer than any shift": (
        problem(task("R01", "halifax", minutes=500, overnight=Overnight.ONE_SHIFT)),
        r"within one shift and takes 8 h 20 min, but the longest shift is 8 h, at halifax",
    ),
    "more work than hours": (
        problem(task("R01", "halifax", minutes=500)),
        r"scan of A/R01 does not fit: halifax has no open hours left for it after 2027-03-01 17:00 UTC",
    ),
    "no line": (
        problem(task("R01", "halifax"), task("R02", "tokyo", after=("R01",)), sites=(DAY_SHIFT, SiteHours("tokyo"))),
        r"scan of A/R02 at tokyo takes from halifax, but there is no line between the two",
    ),
    "a print that never comes": (
        problem(task("R01", "halifax", loan="A"), loans=(Loan("A", (Stay("tokyo", 0, 50),)),)),
        r"scan of A/R01 needs the print A, which is never at halifax",
    ),
    "a grader who cannot be one": (
        problem(task("R01", "halifax", stays_with="g"), task("R02", "tokyo", stays_with="g")),
        r"scan of A/R01 must stay at one site with scan of A/R02, but no site can do all of it",
    ),
    "figures upside down": (
        problem(replace(task("R01", "halifax"), choices=(Choice("halifax", Work(9, 8, 7)),))),
        r"takes 9 to 7 minutes, most likely 8: expected low <= likely <= high",
    ),
    "hours upside down": (
        problem(task("R01", "halifax"), sites=(SiteHours("halifax", ((60, 60),)),)),
        r"The open hours of halifax are out of order at 2027-03-01 01:00 UTC",
    ),
    "an epoch without a zone": (
        problem(task("R01", "halifax"), epoch=EPOCH.replace(tzinfo=None)),
        r"is no UTC instant",
    ),
}


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_the_impossible_is_named(case):
    asked, sentence = IMPOSSIBLE[case]
    with pytest.raises(RefusedError, match=sentence):
        plan_work(asked)


def test_nothing_to_plan_is_planned_at_once():
    plan = plan_work(problem())
    assert (plan.pieces, plan.chain, plan.score.finish) == ((), (), 0)


def test_a_loop_is_named_from_within_and_not_from_what_hangs_on_it():
    """R00 waits for the loop for ever, but is no part of it."""
    asked = problem(
        task("R00", "halifax", after=("R02",)),
        task("R01", "halifax", after=("R02",)),
        task("R02", "halifax", after=("R01",)),
    )
    with pytest.raises(RefusedError) as refused:
        plan_work(asked)
    assert "R00" not in str(refused.value)
