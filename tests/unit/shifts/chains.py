"""Invented chains with a seed: reels that go from stage to stage over sites that sleep at different hours."""

from collections.abc import Sequence
from datetime import UTC, datetime
from random import Random

from relay.shifts.problem import Choice, HandOn, Problem, SiteHours, Task, TaskId, Work

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
