"""What there is to plan: sites with open hours and hands, tasks with their choices, prints on loan. Values only.

The time axis is whole minutes since `Problem.epoch`, an instant in UTC. Intervals are half-open: (540, 1020) works from
minute 540 and stops at 1020. Nothing here checks itself; `relay.shifts.sound.check_problem` names what is impossible.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import NewType, Self

TaskId = NewType("TaskId", str)
"""Names one task in a problem. The caller's own: a job's id is a good one."""

Minute = int
"""Whole minutes since the problem's epoch."""

Windows = tuple[tuple[Minute, Minute], ...]
"""Open hours as sorted, disjoint, half-open intervals. Two that touch are one shift: nobody goes home between them."""

Legs = Mapping[tuple[str, str], int]
"""Minutes from one site to another. A pair not listed has no line: nothing travels there. To itself it is 0."""

ALWAYS_OPEN: Windows = ((0, 10**9),)


class Overnight(StrEnum):
    """What becomes of work that is not finished when its site closes."""

    PAUSES = "pauses"
    """It lies still and goes on when the site opens again. It keeps its hand meanwhile."""
    RUNS_ON = "runs on"
    """Somebody must be there to begin it; then it runs through the closed hours, as a machine does."""
    ONE_SHIFT = "one shift"
    """It begins and ends within one shift, as a wet-gate scan that nobody leaves alone."""


@dataclass(frozen=True, slots=True)
class SiteHours:
    """A site as the planner sees it: when it is open, and how many things it does at once."""

    name: str
    windows: Windows = ALWAYS_OPEN
    """Over the horizon. After the last window the site is closed for good, so look far enough ahead."""
    hands: int = 1
    """How many tasks at once, all stages together."""
    stage_hands: Mapping[str, int] = field(default_factory=dict)
    """How many tasks at once of one stage; a stage that is not named is bounded by `hands` alone."""


@dataclass(frozen=True, slots=True)
class Work:
    """Working minutes as a range: at best, most likely, at worst. low <= likely <= high."""

    low: int
    likely: int
    high: int

    @classmethod
    def exactly(cls, minutes: int) -> Self:
        return cls(minutes, minutes, minutes)


@dataclass(frozen=True, slots=True)
class Choice:
    """A site that may do a task, and what it needs there."""

    site: str
    work: Work
    earliest: Minute = 0
    """What comes from outside the plan is there from then on. What tasks before it make is reckoned from their legs."""


@dataclass(frozen=True, slots=True)
class HandOn:
    """Work may be handed on half-done, when the site that has it closes."""

    legs: Legs
    """Minutes to send what changed so far."""
    reading: int = 0
    """Working minutes at the receiving site before it can go on: the note, the look at the work so far."""


@dataclass(frozen=True, slots=True)
class Claim:
    """Work that a site holds already. It stays there, unless the task may be handed on at that site's closing time."""

    site: str
    since: Minute
    """When work began; may lie before the epoch."""
    done: int = 0
    """Working minutes spent so far, out of the site's own `Choice.work`."""
    finish: Minute | None = None
    """Known finish, such as of a machine that says so. It then counts in place of what the work would give."""


@dataclass(frozen=True, slots=True)
class Done:
    """Work that is finished: it needs no hand any more, but what follows takes from it."""

    site: str
    at: Minute
    copies: Mapping[str, Minute] = field(default_factory=dict)
    """Where its outcome lies whole, or is on its way to, and from when. Others get it from `now` on, by its legs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job, open, claimed, done or still to come."""

    id: TaskId
    stage: str
    choices: tuple[Choice, ...]
    """The sites that may do it, in any order. A claimed or done task keeps those it had."""
    title: str = ""
    """How a sentence names it, such as `grade of A/R03`. Left out: its id."""
    order: tuple[int | str, ...] = ()
    """Who goes first when nothing else decides."""
    after: tuple[TaskId, ...] = ()
    """Tasks whose outcomes it takes. They travel to its site first."""
    legs: Legs | None = None
    """Minutes for its outcome from site to site. None: `Problem.legs`."""
    earliest: Minute = 0
    due: Minute | None = None
    """When it must be finished. None: only the premiere counts."""
    overnight: Overnight = Overnight.PAUSES
    hand_on: HandOn | None = None
    """None: it ends where it began. Only work that pauses and needs no loan is ever handed on."""
    stays_with: str | None = None
    """Tasks with the same word here are all done at one site (one grader for a reel), and are never handed on."""
    loan: str | None = None
    """The loan it needs: a physical print, there only during its stays."""
    claim: Claim | None = None
    done: Done | None = None


@dataclass(frozen=True, slots=True)
class Stay:
    """A print lies at a site from when it arrives until it must leave; shipping is the time between two stays."""

    site: str
    arrives: Minute
    leaves: Minute


@dataclass(frozen=True, slots=True)
class Loan:
    """A physical print lent by an archive. Work that needs it fits into one stay."""

    name: str
    stays: tuple[Stay, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What people were told of one task: its first site, and when it begins there."""

    task: TaskId
    site: str
    start: Minute
    path: tuple[tuple[str, int], ...] = ()
    """With hand-ons: each site, and after how many of its shifts it hands on (0: it finishes). Empty: `site` alone."""
    later: tuple[Minute, ...] = ()
    """When the pieces after the first begin."""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """How dear it is to tell people something else than before."""

    worth: int = 60
    """Each change must bring the finish, or the worst lateness, this many minutes forward. 0: changes are free."""
    firm: int = 24 * 60
    """What was told to begin within so many minutes from now keeps its site, whatever it would bring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """All there is to plan, at one moment."""

    epoch: datetime
    """Minute 0: an aware instant in UTC, on a whole minute."""
    sites: tuple[SiteHours, ...]
    tasks: tuple[Task, ...]
    legs: Legs = field(default_factory=dict)
    """Minutes between sites, for tasks that bring no legs of their own."""
    loans: tuple[Loan, ...] = ()
    now: Minute = 0
    """Nothing new begins before."""
    premiere: Minute | None = None
    """All tasks are to be finished by then."""
    told: tuple[Told, ...] = ()
    """The plan that people know: `Plan.told()` of the last one."""
    steadiness: Steadiness = Steadiness()

    def instant(self, minute: Minute) -> datetime:
        """Return the UTC instant of a minute."""
        return self.epoch + timedelta(minutes=minute)
