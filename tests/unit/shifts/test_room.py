"""Slack: a task may slip by just so much. Tried by letting it slip."""

from dataclasses import replace

import pytest

from relay.shifts.layout import lay_out
from relay.shifts.planner import plan_work, tries
from relay.shifts.steady import retold
from relay.shifts.timing import time_items
from tests.unit.shifts.chains import small_chain


def finish_if_it_ends_at(problem, plan, task, minute):
    """The same order and sites, with one task's end put off."""
    layout = lay_out(problem)
    draft = retold(layout, plan).draft
    number = layout.numbers[task]
    layout.known_finish[number], layout.plain[number] = minute, False
    timing = time_items(layout, draft.order, draft.paths, layout.likely)
    return max(timing.end)


@pytest.mark.parametrize("seed", range(12))
def test_a_task_may_slip_by_its_slack_and_no_minute_more(seed):
    problem = small_chain(seed, reels=4, stages=3, sites=3, step=10)
    # One hand a site: with more, work that slips might take the other hand, and the slack is only a promise.
    problem = replace(
        problem,
        tasks=tuple(replace(task, hand_on=None) for task in problem.tasks),
        sites=tuple(replace(site, hands=1) for site in problem.sites),
    )
    plan = plan_work(problem, tries(100))
    for task, outlook in plan.outlooks.items():
        assert finish_if_it_ends_at(problem, plan, task, outlook.latest_finish) == plan.score.finish
        assert finish_if_it_ends_at(problem, plan, task, outlook.latest_finish + 1) > plan.score.finish


def test_somebody_sets_the_finish_and_has_no_slack():
    plan = plan_work(small_chain(4), tries(100))
    assert plan.chain
    assert all(plan.outlooks[link.task].slack == 0 for link in plan.chain)
