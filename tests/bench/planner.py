"""How good and how quick the planner is: `python -m tests.bench.planner [shops|growth|people|small]`. Asserts nothing.

Seconds are this process's CPU; the clock stands beside them, since the machine may be busy with other things.
"""

import os
import platform
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from statistics import median

from relay.shifts.plan import Budget, Plan
from relay.shifts.planner import no_time, plan_work, tries
from relay.shifts.problem import Problem, Task
from tests.unit.shifts.audit import audit
from tests.unit.shifts.chains import long_chain, small_chain
from tests.unit.shifts.every_way import soonest_finish
from tests.unit.shifts.people import kept_at_one_site, next_in_the_list
from tests.unit.shifts.shops import OPTIMA, shop

SIZES = ((10, 4), (25, 4), (50, 6), (100, 8), (200, 8), (400, 12))


def for_seconds(seconds: float) -> Budget:
    """Return a budget of so many seconds of CPU: what a quiet machine would give in as many by the clock."""
    began = time.process_time()
    return lambda: 1.0 - (time.process_time() - began) / seconds


def timed(act: Callable[[], Plan]) -> tuple[Plan, float, float]:
    """Return what `act` returns, and its seconds of CPU and by the clock."""
    cpu, clock = time.process_time(), time.perf_counter()
    plan = act()
    return plan, time.process_time() - cpu, time.perf_counter() - clock


def shops(seconds: float = 27.0) -> None:
    """Print, for each published instance, what a short search finds, and what the solver makes of it in so long."""
    print("| instance | optimum | 3,000 tries | over | CPU s | with the solver | over | CPU s | clock |")
    print("| --- " * 9 + "|")
    for name, optimum in OPTIMA.items():
        alone, cpu, _ = timed(lambda name=name: plan_work(shop(name), tries(3000)))
        both, spent, clock = timed(lambda name=name: plan_work(shop(name), tries(3000), exact_seconds=seconds))
        found = [alone.score.finish, both.score.finish]
        over = [finish / optimum - 1 for finish in found]
        print(
            f"| {name} | {optimum} | {found[0]} | {over[0]:.1%} | {cpu:.1f} "
            f"| {found[1]} | {over[1]:.1%} | {spent:.1f} | {clock:.1f} |",
            flush=True,
        )


def growth() -> None:
    print(
        "| reels x stages x sites | tasks | first plan | its finish, days | improved | its finish | after one event |"
    )
    print("| --- " * 7 + "|")
    for reels, sites in SIZES:
        problem = long_chain(1, reels, sites, days=120)
        first, cpu, clock = timed(lambda problem=problem: plan_work(problem, no_time))
        better, whole, whole_clock = timed(lambda problem=problem: plan_work(problem, for_seconds(1.8)))
        late = after_one_event(problem, better)
        again, again_cpu, again_clock = timed(lambda late=late: plan_work(late, no_time))
        audit(late, again)
        days = [plan.score.finish / 1440 for plan in (first, better)]
        print(
            f"| {reels} x 5 x {sites} | {len(problem.tasks)} | {cpu:.2f} s ({clock:.2f}) | {days[0]:.1f} | "
            f"{whole:.2f} s ({whole_clock:.2f}) | {days[1]:.1f} | "
            f"{again_cpu:.2f} s ({again_clock:.2f}), {len(again.changes)} changes |",
            flush=True,
        )


def after_one_event(problem: Problem, plan: Plan) -> Problem:
    """Return the problem when the first task turns out to take three times as long."""
    first = plan.pieces[0].task
    return replace(
        problem, told=plan.told(), tasks=tuple(slower(each) if each.id == first else each for each in problem.tasks)
    )


def slower(task: Task) -> Task:
    """Return the task with three times its work."""
    return replace(
        task,
        choices=tuple(
            replace(each, work=type(each.work)(each.work.low * 3, each.work.likely * 3, each.work.high * 3))
            for each in task.choices
        ),
    )


def people(seeds: int = 100) -> None:
    ratios: dict[str, list[float]] = {"next in the list": [], "kept at one site": []}
    for seed in range(seeds):
        problem = long_chain(seed, reels=8, sites=4, days=90)
        ours = plan_work(problem, tries(800)).score.finish
        ratios["next in the list"].append(next_in_the_list(problem).score.finish / ours)
        ratios["kept at one site"].append(kept_at_one_site(problem).score.finish / ours)
    print("| what people do | median | least | most |\n| --- | --- | --- | --- |")
    for name, found in ratios.items():
        print(f"| {name} | {median(found):.2f} | {min(found):.2f} | {max(found):.2f} |")


def small(seeds: int = 200) -> None:
    found = []
    for seed in range(seeds):
        problem = small_chain(seed)
        plan = plan_work(problem, tries(6000))
        found.append(plan.score.finish / soonest_finish(problem, plan.score.finish))
    print(f"{seeds} small chains: worst {max(found):.4f}, median {median(found):.4f} of the soonest finish")


def main() -> None:
    asked = sys.argv[1:] or ["small", "people", "growth", "shops"]
    load = " ".join(f"{each:.1f}" for each in os.getloadavg())
    machine = f"{platform.platform()}, Python {platform.python_version()}"
    print(f"{datetime.now(UTC):%d %B %Y %H:%M} UTC, {machine}, load {load}")
    for name in asked:
        {"shops": shops, "growth": growth, "people": people, "small": small}[name]()


if __name__ == "__main__":
    main()
