"""What a plan means for people: when each reel is finished, what sets that, what lands at a shut door. Pure."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from relay.forecast.asking import ACCEPT, problem_of
from relay.forecast.ground import Ground, place_of
from relay.model import ReelName
from relay.shifts.plan import Arrival, Budget, Piece, Plan
from relay.shifts.planner import plan_work
from relay.shifts.problem import Problem, Steadiness, Task, TaskId
from relay.shifts.windows import Window
from relay.shifts.zones import minute_of, tz_release

SHUT_DOOR = 4 * 60
"""Minutes after closing time within which what lands would have been in time on a better day."""


@dataclass(frozen=True)
class ReelOutlook:
    """When one reel is finished, as far as the route goes."""

    reel: ReelName
    finish: datetime
    low: datetime
    """If all that sets it goes at its best."""
    high: datetime
    slack: int
    """Minutes that it may slip before the plan's finish moves."""
    left: int
    """Jobs that are not done."""
    chain: tuple[TaskId, ...]
    """The jobs that set the finish, first to last, each waiting for the one before."""


@dataclass(frozen=True)
class ShutDoor:
    """Something that lands where everybody has just gone home."""

    arrival: Arrival
    site: str
    lands: datetime
    closed: datetime
    opens: datetime | None


@dataclass(frozen=True)
class Forecast:
    """A plan, with what it stands on."""

    ground: Ground
    problem: Problem
    plan: Plan
    tz: str
    """The release of the time zone database that was reckoned with."""

    @cached_property
    def tasks(self) -> dict[TaskId, Task]:
        return {task.id: task for task in self.problem.tasks}

    @property
    def finish(self) -> datetime:
        return self.ground.instant(self.plan.score.finish)

    @property
    def low(self) -> datetime:
        return self.ground.instant(self.plan.finish_low)

    @property
    def high(self) -> datetime:
        return self.ground.instant(self.plan.finish_high)

    @property
    def premiere(self) -> datetime:
        return self.ground.film.premiere.instant()

    @property
    def is_done(self) -> bool:
        """Whether nothing is left to do."""
        return not self.plan.outlooks

    def minutes_late(self, finish: datetime) -> int:
        """Return how many minutes after the premiere `finish` is; negative where it is before."""
        return minute_of(finish) - minute_of(self.premiere)

    def title(self, task: TaskId) -> str:
        """Return how people call a task."""
        return self.tasks[task].title or task

    @cached_property
    def reels(self) -> tuple[ReelOutlook, ...]:
        """Each reel on which something is left to do, the last one to be finished first."""
        found: dict[ReelName, list[TaskId]] = {}
        for task in self.plan.outlooks:
            found.setdefault(reel_of_task(task), []).append(task)
        outlooks = [self._reel(reel, tasks) for reel, tasks in found.items()]
        return tuple(sorted(outlooks, key=lambda each: (-minute_of(each.finish), each.reel)))

    def _reel(self, reel: ReelName, tasks: list[TaskId]) -> ReelOutlook:
        outlooks = [self.plan.outlooks[task] for task in tasks]
        last = max(outlooks, key=lambda each: each.finish)
        at = self.ground.instant
        return ReelOutlook(
            reel,
            at(last.finish),
            at(max(each.finish_low for each in outlooks)),
            at(max(each.finish_high for each in outlooks)),
            last.slack,
            len(tasks),
            tuple(reversed(list(self._chain(last.task)))),
        )

    @cached_property
    def first_pieces(self) -> dict[TaskId, Piece]:
        """Each task's first piece."""
        found: dict[TaskId, Piece] = {}
        for piece in self.plan.pieces:
            found.setdefault(piece.task, piece)
        return found

    def _chain(self, task: TaskId | None) -> Iterator[TaskId]:
        seen = set[TaskId]()
        while task is not None and task in self.first_pieces and task not in seen:
            seen.add(task)
            yield task
            task = self.first_pieces[task].cause.task

    @cached_property
    def shut_doors(self) -> tuple[ShutDoor, ...]:
        """What lands at a site within `SHUT_DOOR` minutes after it has closed, by landing."""
        return tuple(door for door in map(self._shut_door, self.plan.arrivals) if door)

    def _shut_door(self, arrival: Arrival) -> ShutDoor | None:
        hours = next(site for site in self.problem.sites if site.name == arrival.site)
        past = [Window(*each) for each in hours.windows if each[0] <= arrival.lands]
        if not past or arrival.lands < past[-1].end or arrival.lands - past[-1].end > SHUT_DOOR:
            return None
        opens = next((start for start, _ in hours.windows if start > arrival.lands), None)
        at = self.ground.instant
        return ShutDoor(
            arrival,
            place_of(arrival.site),
            at(arrival.lands),
            at(past[-1].end),
            None if opens is None else at(opens),
        )


def forecast(
    ground: Ground,
    budget: Budget,
    keep: Callable[[Problem], Problem] = lambda problem: problem,
    *,
    exact_seconds: float = 0.0,
) -> Forecast:
    """Return a plan of all that is left to do. Raises RefusedError where something is impossible, and names it.

    `keep` may add what people were told, so that a change elsewhere does not move them about. `exact_seconds` is how
    long the extra `solver` may take, where it is installed and the plan is small.
    """
    problem = keep(problem_of(ground))
    return Forecast(ground, problem, plan_work(problem, budget, exact_seconds=exact_seconds), tz_release())


def beside(today: Forecast, ground: Ground, budget: Budget, *, exact_seconds: float = 0.0) -> Forecast:
    """Return a plan on another ground. It begins from today's, but holds nobody to it: the question is what could be.

    Raises RefusedError where something is impossible there, and names it.
    """
    told = today.plan.told()

    def keep(problem: Problem) -> Problem:
        return replace(problem, told=told, steadiness=Steadiness(worth=0, firm=0))

    return forecast(ground, budget, keep, exact_seconds=exact_seconds)


def reel_of_task(task: str) -> ReelName:
    """Return the reel that a task is about: `A/R01` of `accept scan/A/R01/1`."""
    return ReelName("/".join(task.removeprefix(f"{ACCEPT} ").split("/")[1:3]))
