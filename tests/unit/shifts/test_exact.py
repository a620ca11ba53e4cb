"""The solver's proposals, beside published optima and beside trying every way."""

from dataclasses import replace

import pytest

from relay.shifts.exact import proved
from relay.shifts.layout import lay_out
from relay.shifts.planner import plan_work, tries
from relay.shifts.problem import Steadiness
from relay.shifts.steady import retold
from tests.conftest import missing
from tests.unit.shifts.audit import audit
from tests.unit.shifts.chains import rich_chain, small_chain
from tests.unit.shifts.every_way import soonest_finish
from tests.unit.shifts.shops import OPTIMA, shop


@pytest.fixture(autouse=True)
def _solver():
    try:
        import ortools  # noqa: F401
    except ImportError:
        missing("OR-Tools, the extra `solver`")


@pytest.mark.parametrize("name", ["ft06", "la05", "sfjs08", "sfjs10"])
def test_the_solver_takes_a_poor_plan_to_the_proven_optimum(name):
    problem = shop(name)
    plan = plan_work(problem, exact_seconds=60)
    audit(problem, plan)
    assert plan.score.finish == OPTIMA[name]


@pytest.mark.parametrize("seed", range(10))
def test_with_nights_and_journeys_the_solver_alone_finds_the_soonest_finish(seed):
    problem = small_chain(seed)
    problem = replace(problem, tasks=tuple(replace(task, hand_on=None) for task in problem.tasks))
    layout = lay_out(problem)
    first = plan_work(problem)
    solved = proved(layout, retold(layout, first), 60)
    assert solved.score.finish == soonest_finish(problem, first.score.finish)


@pytest.mark.parametrize("seed", range(6))
def test_with_a_little_of_everything_the_solver_makes_no_plan_impossible_or_worse(seed):
    problem = rich_chain(seed)
    plan = plan_work(problem, exact_seconds=5)
    audit(problem, plan)
    assert not plan_work(problem).score < plan.score


@pytest.mark.parametrize("seed", range(10))
def test_a_tidy_plan_is_not_given_up_for_one_that_only_finishes_as_soon(seed):
    """The solver sees no load: what it proposes for a good plan is often less fair."""
    layout = lay_out(small_chain(seed))
    good = retold(layout, plan_work(small_chain(seed), tries(2000)))
    assert not good.score < proved(layout, good, 20).score


@pytest.mark.soak
@pytest.mark.parametrize("name", OPTIMA)
def test_a_published_shop_is_planned_within_two_per_cent_of_its_proven_optimum(name):
    """Seconds enough for a busy machine; the solver stops when it has a proof. tests/bench/planner.py measures 30 s."""
    problem = shop(name)
    plan = plan_work(problem, tries(3000), exact_seconds=300)
    audit(problem, plan)
    assert plan.score.finish <= OPTIMA[name] * 1.02


def test_a_plan_says_whether_the_solver_found_it_and_what_was_told_is_kept_to() -> None:
    hard = shop("mk01")
    plan = plan_work(hard, tries(20), exact_seconds=20)
    assert (plan.method, plan.score.finish) == ("solver", OPTIMA["mk01"])
    assert plan_work(hard, tries(20)).method == "search"

    poor = plan_work(hard)
    firm = replace(hard, told=poor.told(), steadiness=Steadiness(worth=0, firm=10**6))
    kept = plan_work(firm, tries(20), exact_seconds=2)
    assert all(kept.outlooks[task].sites == outlook.sites for task, outlook in poor.outlooks.items())
    dear = replace(hard, told=poor.told(), steadiness=Steadiness(worth=10**6, firm=0))
    assert plan_work(dear, tries(20), exact_seconds=2).changes == ()
