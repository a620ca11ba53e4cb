"""Invented chains with a seed: reels that go from stage to stage over sites that sleep at different hours."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

from relay.shifts.problem import (
    Choice,
    Claim,
    Done,
    HandOn,
    Loan,
    Overnight,
    Problem,
    SiteHours,
    Stay,
    Task,
    TaskId,
    Work,
)

DAY = 24 * 60
STAGES = ("scan", "edit", "clean", "grade", "conform")


def shifts(opens: int, hours: int, days: int, weekend: Sequence[int] = ()) -> tuple[tuple[int, int], ...]:
    """Return one shift a day from `opens` (a minute of the day, UTC), for so many hours."""
    found = [(day * DAY + opens, day * DAY + opens + hours * 60) for day in range(-1, days) if day % 7 not in weekend]
    return tuple((max(start, 0), end) for start, end in found if end > 0)


def small_chain(seed: int, *, reels: int = 2, stages: int = 2, sites: int = 3, step: int = 30) -> Problem:
    """Return a chain small enough to be tried out in every way; times are multiples of `step` minutes."""
    dice = Random(seed)
    names = [f"site-{number}" for number in range(sites)]
    places = tuple(
        SiteHours(name, shifts(dice.randrange(0, DAY, step), dice.choice((6, 8, 10)), 8), hands=dice.choice((1, 1, 2)))
        for name in names
    )
    legs = {(here, there): dice.randrange(step, 8 * step, step) for here in names for there in names if here != there}
    tasks = []
    for reel in range(reels):
        for stage in range(stages):
            able = sorted(dice.sample(names, dice.choice((1, 2, sites))))
            minutes = dice.randrange(4 * step, 26 * step, step)
            tasks.append(
                Task(
                    id=TaskId(f"{reel}.{stage}"),
                    stage=STAGES[stage],
                    order=(reel, stage),
                    choices=tuple(Choice(name, Work.exactly(minutes + dice.choice((0, 0, step)))) for name in able),
                    after=(TaskId(f"{reel}.{stage - 1}"),) if stage else (),
                    hand_on=HandOn(legs, step) if len(able) > 1 and dice.random() < 0.5 else None,
                    earliest=dice.randrange(0, 6 * step, step) if not stage else 0,
                )
            )
    return Problem(epoch=datetime(2027, 1, 4, tzinfo=UTC), sites=places, tasks=tuple(tasks), legs=legs)


def long_chain(seed: int, reels: int, sites: int, days: int = 60, *, ordered: bool = True) -> Problem:
    """Return `reels` reels of five stages over sites round the world; a grade stays with its grader."""
    dice = Random(seed)
    names = [f"site-{number}" for number in range(sites)]
    places = []
    skilled: dict[str, list[str]] = {}
    for number, name in enumerate(names):
        hours = shifts((number * DAY // sites) // 30 * 30, dice.choice((8, 9, 10)), days, weekend=(5, 6))
        places.append(SiteHours(name, hours, hands=dice.choice((3, 4, 5)), stage_hands={"scan": 2, "grade": 2}))
        for stage in STAGES:
            if dice.random() < 0.6 or number == STAGES.index(stage) % sites:
                skilled.setdefault(stage, []).append(name)
    legs = {(here, there): dice.randrange(20, 400) for here in names for there in names if here != there}
    tasks = [task for reel in range(reels) for task in _reel(dice, reel, skilled, legs)]
    if not ordered:
        dice.shuffle(tasks)
    return Problem(epoch=datetime(2027, 1, 4, tzinfo=UTC), sites=tuple(places), tasks=tuple(tasks), legs=legs)


def _reel(dice: Random, reel: int, skilled: dict[str, list[str]], legs: dict[tuple[str, str], int]) -> list[Task]:
    found = []
    for number, stage in enumerate(STAGES):
        likely = dice.randrange(60, 600)
        work = [Work(pace * 4 // 5, pace, pace * 3 // 2) for pace in (likely, likely * 5 // 4, likely * 3 // 2)]
        found.append(
            Task(
                id=TaskId(f"{reel:03}.{stage}"),
                stage=stage,
                title=f"{stage} of A/R{reel:03}",
                order=(reel, number),
                choices=tuple(Choice(name, dice.choice(work)) for name in skilled[stage]),
                after=(TaskId(f"{reel:03}.{STAGES[number - 1]}"),) if number else (),
                hand_on=HandOn(legs, 20) if stage == "clean" else None,
                stays_with=f"grader-{reel // 5}" if stage == "grade" else None,
            )
        )
    return found


def rich_chain(seed: int) -> Problem:
    """Return a chain with a little of everything: prints on loan, claims, done work, graders, machines that run on."""
    dice = Random(seed)
    plain = small_chain(seed, reels=4, stages=3, sites=4, step=10)
    now = 300
    tasks = [_dressed(dice, task, plain, now) for task in plain.tasks]
    loans = tuple(
        Loan(f"print-{reel}", tuple(Stay(site.name, 200 * number, 6 * DAY) for number, site in enumerate(plain.sites)))
        for reel in range(4)
    )
    return replace(plain, tasks=tuple(tasks), loans=loans, now=now, premiere=dice.choice((None, 2 * DAY, 6 * DAY)))


def _dressed(dice: Random, task: Task, problem: Problem, now: int) -> Task:
    reel, stage = str(task.id).split(".")
    site = dice.choice(task.choices).site
    ranged = tuple(
        replace(choice, work=Work(choice.work.likely * 3 // 4, choice.work.likely, choice.work.likely * 2))
        for choice in task.choices
    )
    task = replace(task, choices=ranged)
    if stage == "0":
        if dice.random() < 0.2:
            return replace(task, done=Done(site, now - 100, {problem.sites[0].name: now + 50}))
        if dice.random() < 0.3:
            finish = dice.choice((None, now + 77))
            return replace(task, claim=Claim(site, now - 60, done=dice.choice((0, 30)), finish=finish))
        return replace(task, loan=f"print-{reel}", hand_on=None, due=dice.choice((None, DAY)))
    if stage == "1":
        overnight = dice.choice((Overnight.RUNS_ON, Overnight.PAUSES, Overnight.ONE_SHIFT))
        short = tuple(replace(choice, work=Work(100, 150, 200)) for choice in ranged)
        return replace(task, overnight=overnight, choices=short if overnight is Overnight.ONE_SHIFT else ranged)
    everywhere = tuple(Choice(each.name, ranged[0].work) for each in problem.sites)
    return replace(task, stays_with=f"grader-{int(reel) % 2}", choices=everywhere)
