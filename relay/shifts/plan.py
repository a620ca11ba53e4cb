"""What a plan says: who works on what, when it travels, how late it is, and what sets the finish. Values only.

plan = plan_work(problem, budget)                  relay.shifts.planner; RefusedError names what is impossible
plan.outlooks[task].finish, plan.pieces, plan.arrivals, plan.chain, plan.score
why(problem, plan, task)                           relay.shifts.explain: one sentence with its numbers
replace(problem, told=plan.told())                 the next plan then keeps to what people know
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import total_ordering
from typing import Literal

from relay.shifts.problem import Minute, TaskId, Told, Windows

Method = Literal["search", "solver"]
"""Who found a plan's sites and order: this package's own search, or the extra `solver`, with the search after it."""

Budget = Callable[[], float]
"""Answers how much of the time for planning is left: 1.0 at first, 0.0 or less when it is over. Asked often."""


class Setter(StrEnum):
    """What kept a piece of work from beginning any earlier."""

    NOW = "now"
    """Nothing: it begins at once, or as soon as its site opens."""
    EARLIEST = "earliest"
    """Its own earliest time, or what comes from outside the plan."""
    ARRIVAL = "arrival"
    """The outcome of a task before it, on its way or not finished."""
    HAND = "hand"
    """Every hand at the site was busy; `Cause.task` is the one that freed its hand."""
    LOAN = "loan"
    """The print was not there yet."""
    HAND_ON = "hand-on"
    """It came half-done from another site."""
    CLAIM = "claim"
    """It was under way already."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a piece begins when it does: what kind of thing set it, which task, and from when it could have gone on."""

    setter: Setter
    ready: Minute
    """When the setter let go. A start later than this waited for the site to open."""
    task: TaskId | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """One task, or one part of it, at one site."""

    task: TaskId
    site: str
    start: Minute
    finish: Minute
    """When the hand is free again: the task is finished, or handed on."""
    spells: Windows
    """When it is really worked on; the time between two spells is closed hours."""
    cause: Cause
    handed_on: bool = False
    """The next piece of the same task goes on from here."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """Something that travels: the outcome of a task, or work handed on half-done (then `task` is `wanted_by`)."""

    task: TaskId
    wanted_by: TaskId
    site: str
    """Where to."""
    source: str
    leaves: Minute
    lands: Minute
    half_done: bool = False


@dataclass(frozen=True, slots=True)
class Outlook:
    """One task in the plan, with the room it has."""

    task: TaskId
    sites: tuple[str, ...]
    """One, or several in turn where it is handed on."""
    start: Minute
    finish: Minute
    finish_low: Minute
    """When it finishes if all work goes at its best, with the same sites and the same order."""
    finish_high: Minute
    """... and at its worst."""
    latest_finish: Minute
    """It may finish as late as this, and the plan's own finish does not move."""
    spare: Minute | None
    """Minutes it may slip before a date (its own, a later task's, the premiere) is missed; None: there is no date."""

    @property
    def slack(self) -> Minute:
        """Minutes that it may slip before the plan's finish moves."""
        return self.latest_finish - self.finish


@dataclass(frozen=True, slots=True)
class Link:
    """One step of the chain that sets the finish, first to last, in a sentence."""

    task: TaskId
    sentence: str


@total_ordering
@dataclass(frozen=True, slots=True)
class Score:
    """How good a plan is; less is better, the first difference decides."""

    overstay: int
    """Minutes that prints would have to stay longer than lent, all together. 0 unless it cannot be helped."""
    late: int
    """Minutes after its date of the task that is latest."""
    finish: Minute
    """When the last task is finished."""
    hand_ons: int
    load: int
    """Unfairness: the sum over sites of working minutes squared, for each hand."""
    settled: int
    """The sum of all finishes."""

    def _key(self) -> tuple[int, ...]:
        return (self.overstay, self.late, self.finish, self.hand_ons, self.load, self.settled)

    def __lt__(self, other: "Score") -> bool:
        return self._key() < other._key()


@dataclass(frozen=True, slots=True)
class Plan:
    """Where and when every task is done."""

    pieces: tuple[Piece, ...]
    """By start. Done tasks have none."""
    arrivals: tuple[Arrival, ...]
    """By landing."""
    outlooks: Mapping[TaskId, Outlook]
    """Every task that is not done."""
    chain: tuple[Link, ...]
    """What sets the finish, first to last."""
    score: Score
    finish_low: Minute
    finish_high: Minute
    paths: Mapping[TaskId, tuple[tuple[str, int], ...]]
    """Each task's sites in turn, and after how many shifts each hands on (0: it finishes there)."""
    method: Method = "search"
    changes: tuple[TaskId, ...] = ()
    """Tasks that go elsewhere, or ahead of another, than people were told, of the planner's own choice."""
    forced: tuple[TaskId, ...] = ()
    """Tasks that cannot stay where people were told, whatever the planner would like."""

    def told(self) -> tuple[Told, ...]:
        """Return this plan as what people know, for the next problem."""
        later: dict[TaskId, list[Minute]] = {}
        for piece in self.pieces:
            later.setdefault(piece.task, []).append(piece.start)
        return tuple(
            Told(task, outlook.sites[0], outlook.start, self.paths[task], tuple(later[task][1:]))
            for task, outlook in self.outlooks.items()
        )

    def at(self, site: str) -> tuple[Piece, ...]:
        """Return what a site works on, by start."""
        return tuple(piece for piece in self.pieces if piece.site == site)
