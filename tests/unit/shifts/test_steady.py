"""What people were told is kept to, and the bound on what is not holds."""

from dataclasses import replace

import pytest

from relay.shifts.planner import no_time, plan_work, tries
from relay.shifts.problem import Choice, SiteHours, Steadiness, Task, TaskId, Told, Work
from tests.unit.shifts.audit import audit, order_at_sites
from tests.unit.shifts.chains import DAY, long_chain, rich_chain, small_chain


def told(seed=2, reels=10, sites=5):
    problem = long_chain(seed, reels, sites)
    plan = plan_work(problem, tries(300))
    return replace(problem, told=plan.told()), plan


def sites_of(plan, task):
    """The sites it is to go to; it may be finished before the last."""
    return [site for site, _ in plan.paths[task]]


def changed_by_hand(old, new, still):
    """Tasks elsewhere, or called forward ahead of one they were to follow: counted pair by pair, from two plans."""
    moved = {task for task in still if sites_of(old, task) != sites_of(new, task)}
    stay = [task for task in still if task not in moved]
    for one in stay:
        for two in stay:
            before, after = old.outlooks[one], old.outlooks[two]
            if before.sites[0] != after.sites[0] or before.start >= after.start:
                continue
            if new.outlooks[two].start < new.outlooks[one].start and new.outlooks[two].start < after.start:
                moved.add(two)
    return moved


@pytest.mark.parametrize("seed", range(6))
def test_planning_again_when_nothing_has_happened_changes_nothing(seed):
    problem, plan = told(seed)
    for budget in (no_time, tries(200)):
        again = plan_work(replace(problem, steadiness=Steadiness(worth=10**6)), budget)
        assert again.changes == again.forced == ()
        assert {(piece.task, piece.site, piece.start) for piece in again.pieces} == {
            (piece.task, piece.site, piece.start) for piece in plan.pieces
        }


@pytest.mark.parametrize("seed", range(6))
def test_planning_again_with_a_little_of_everything_changes_nothing(seed):
    problem = rich_chain(seed)
    plan = plan_work(problem, tries(100))
    again = plan_work(replace(problem, told=plan.told()))
    assert order_at_sites(again) == order_at_sites(plan)
    assert again.score == plan.score


@pytest.mark.parametrize("worth", [30, 240])
@pytest.mark.parametrize("seed", range(4))
def test_each_change_buys_its_price(seed, worth):
    problem, plan = told(seed)
    first = plan.pieces[0]
    slow = tuple(three_times_as_long(task) if task.id == first.task else task for task in problem.tasks)
    after = replace(problem, tasks=slow, steadiness=Steadiness(worth=worth, firm=0))
    kept, improved = plan_work(after, no_time), plan_work(after, tries(400))
    audit(after, improved)
    assert kept.changes == ()
    for task in problem_ids(problem):
        assert kept.paths[task] == plan.paths[task]
    changes = changed_by_hand(kept, improved, problem_ids(problem))
    assert set(improved.changes) == changes
    assert improved.score.late == kept.score.late == 0
    assert len(changes) * worth <= kept.score.finish - improved.score.finish


def three_times_as_long(task):
    return replace(task, choices=tuple(replace(each, work=Work.exactly(each.work.likely * 3)) for each in task.choices))


def problem_ids(problem):
    return [task.id for task in problem.tasks]


def test_free_changes_bring_what_dear_ones_do_not():
    """Otherwise the bound might hold because nothing ever changes."""
    problem, _ = told(1)
    closed = replace(problem.sites[0], windows=problem.sites[0].windows[-5:])
    after = replace(problem, sites=(closed, *problem.sites[1:]))
    free = plan_work(replace(after, steadiness=Steadiness(worth=0, firm=0)), tries(400))
    dear = plan_work(replace(after, steadiness=Steadiness(worth=10**6, firm=0)), tries(400))
    assert free.changes
    assert dear.changes == ()
    assert free.score.finish < dear.score.finish


def test_what_begins_within_a_day_keeps_its_site_and_what_cannot_stay_is_forced():
    problem, plan = told(1)
    soon = [task for task, outlook in plan.outlooks.items() if outlook.start < DAY]
    free = plan_work(replace(problem, steadiness=Steadiness(worth=0)), tries(600))
    assert not set(soon) & {task for task in free.changes if free.outlooks[task].sites != plan.outlooks[task].sites}
    gone = plan.outlooks[soon[0]].sites[0]
    without = tuple(replace(site, windows=()) if site.name == gone else site for site in problem.sites)
    forced = plan_work(replace(problem, sites=without))
    assert soon[0] in forced.forced
    assert forced.changes == ()


def test_a_new_task_slips_in_without_moving_anybody():
    problem = small_chain(3)
    plan = plan_work(problem, tries(200))
    new = Task(
        id=TaskId("new"), stage="scan", choices=tuple(Choice(each.name, Work.exactly(30)) for each in problem.sites)
    )
    more = plan_work(replace(problem, tasks=(*problem.tasks, new), told=plan.told()))
    assert more.changes == ()
    for task, outlook in plan.outlooks.items():
        assert (more.outlooks[task].sites, more.outlooks[task].start) == (outlook.sites, outlook.start)


def test_a_late_reel_does_not_hold_up_the_next_one_that_was_told_its_time():
    site = SiteHours("tokyo")
    choice = (Choice("tokyo", Work.exactly(100)),)
    one, two = (Task(id=TaskId(name), stage="grade", choices=choice, order=(name,)) for name in ("one", "two"))
    problem = replace(small_chain(0), sites=(site,), tasks=(one, two), legs={})
    plan = plan_work(problem)
    assert [piece.task for piece in plan.pieces] == ["one", "two"]
    late = replace(problem, tasks=(replace(one, earliest=500), two), told=plan.told())
    again = plan_work(late)
    assert again.outlooks["two"].start == 0  # the hand is free, and nobody else was told to go first
    assert again.outlooks["one"].start == 500
    assert again.changes == ()


def test_a_firm_promise_keeps_its_site_and_a_later_one_moves_if_that_pays():
    sites = (SiteHours("halifax"), SiteHours("tokyo"))
    choices = (Choice("halifax", Work.exactly(1000)), Choice("tokyo", Work.exactly(100)))
    task = Task(id=TaskId("t"), stage="clean", choices=choices)
    problem = replace(small_chain(0), sites=sites, tasks=(task,), legs={}, told=(Told(task.id, "halifax", 600),))
    firm, free = Steadiness(firm=DAY), Steadiness(firm=0)
    dear = Steadiness(firm=0, worth=901)
    assert plan_work(replace(problem, steadiness=firm), tries(100)).outlooks["t"].sites == ("halifax",)
    assert plan_work(replace(problem, steadiness=dear), tries(100)).outlooks["t"].sites == ("halifax",)
    moved = plan_work(replace(problem, steadiness=free), tries(100))
    assert moved.outlooks["t"].sites == ("tokyo",)
    assert moved.changes == ("t",)
