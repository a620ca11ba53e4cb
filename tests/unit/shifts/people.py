"""What people do without a planner, by the planner's own clock: the same hours, hands and journeys, other choices."""

from dataclasses import replace

from relay.shifts.plan import Plan
from relay.shifts.planner import plan_work
from relay.shifts.problem import Choice, Problem, Task


def next_in_the_list(problem: Problem) -> Plan:
    """Return what comes of sending each job to whoever is next in its stage's list, and finishing it there."""
    turn: dict[str, int] = {}
    tasks = []
    groups: dict[str, str] = {}
    for task in problem.tasks:
        at = turn.get(task.stage, 0)
        site = task.choices[at % len(task.choices)].site
        if task.stays_with:
            site = groups.setdefault(task.stays_with, site)
        turn[task.stage] = at + 1
        tasks.append(_only_at(task, site))
    return plan_work(replace(problem, tasks=tuple(tasks)))


def kept_at_one_site(problem: Problem) -> Plan:
    """Return what comes of keeping each reel at one site as long as that site can do it, reels dealt out in turn.

    What a site cannot do goes to the first one that can, and stays there from then on.
    """
    names = [site.name for site in problem.sites]
    holds: dict[str, str] = {}
    groups: dict[str, str] = {}
    tasks = []
    for task in problem.tasks:
        reel = str(task.id).split(".")[0]
        home = holds.get(reel, names[len(holds) % len(names)])
        able = [choice.site for choice in task.choices]
        site = home if home in able else able[0]
        if task.stays_with:
            site = groups.setdefault(task.stays_with, site)
        holds[reel] = site
        tasks.append(_only_at(task, site))
    return plan_work(replace(problem, tasks=tuple(tasks)))


def _only_at(task: Task, site: str) -> Task:
    choices: tuple[Choice, ...] = tuple(choice for choice in task.choices if choice.site == site)
    return replace(task, choices=choices, hand_on=None)
