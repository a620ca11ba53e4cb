"""Says one thing about a job for whoever pressed a button: once, however often the button was pressed.

Each button carries an operation id, and what its page had seen of the job. The same operation gives the same answer
again; an operation on a job that has moved on since says so and does nothing. The functions that speak are those of
the command; the ledger decides.
"""

import threading
from collections import OrderedDict
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from pydantic import ConfigDict, Field, StringConstraints, model_validator

from relay.board.rows.acts import ActName, blocks_on, seen
from relay.board.rows.view import Viewer
from relay.errors import LostRaceError, RefusedError
from relay.ledger import work
from relay.ledger.entry import Entry
from relay.ledger.job_state import Job
from relay.ledger.job_words import HandOnOffered, JobId
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.model import Frozen, Line, Note, Slug, VersionField
from relay.transfer.seat import Seat
from relay.wording import parse_frames, parse_moment

REMEMBERED = 10_000
"""Operations whose answers are kept; the oldest go first. What the ledger says of a job guards after that."""

_Short = Annotated[str, StringConstraints(max_length=400)]

_NEEDS: Mapping[ActName, tuple[str, ...]] = {
    "extend": ("until",),
    "release": ("reason",),
    "hand-on": ("to", "done", "left"),
    "decline": ("reason",),
    "return": ("reason",),
    "reassign": ("reason",),
    "restart": ("reason",),
    "withdraw": ("reason",),
}
"""What must be said with each."""


class Act(Frozen):
    """What a button asks for."""

    model_config = ConfigDict(defer_build=False)  # the web library wants it built when it lays out the interface

    act: ActName
    job: JobId
    op: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
    """The operation: 32 figures at random, new with every form that is shown."""
    seen: _Short
    """The job's `seen` as the page showed it."""
    until: _Short | None = None
    """A time on the site's own clock, such as 2027-01-09T17:00; left out with a claim: what the stage allows."""
    reason: Line | None = None
    note: Note = ""
    despite: _Short | None = Field(
        default=None, description="The job's `overrules`: accepts what was found, for `note`"
    )
    to: Slug | None = None
    done: Line | None = None
    left: Line | None = None
    faults: Note = ""
    frames: _Short | None = Field(default=None, description="Ranges such as 10-20,35")
    version: VersionField | None = None

    @model_validator(mode="after")
    def _says_enough(self) -> "Act":
        lacking = [name for name in _NEEDS.get(self.act, ()) if getattr(self, name) is None]
        if lacking:
            raise ValueError(f"to {self.act} takes {' and '.join(lacking)}: say it")
        if self.despite is not None and (self.act != "accept" or not self.note.strip()):
            raise ValueError("to accept despite what was found takes a note: say why it is good all the same")
        return self


class Acted(Frozen):
    """What became of it."""

    job: str
    standing: str
    entry: int | None
    """The number of the entry that says it; None where it was so before."""
    words: str
    """The same for people."""


class Actors:
    """Speaks for the sites whose homes this board was given."""

    def __init__(self, seats: Mapping[str, Seat]) -> None:
        self._seats = seats
        self._lock = threading.Lock()
        self._running: dict[str, threading.Lock] = {}
        self._answers: OrderedDict[str, Acted] = OrderedDict()

    def speaks_for(self, site: str | None) -> bool:
        return site in self._seats

    def say(self, viewer: Viewer, act: Act) -> Acted:
        """Say it, once. Raises RelayError: RefusedError, LostRaceError, MissingError or TransientError."""
        seat = self.seat_of(viewer)
        key = f"{seat.site} {viewer.name} {act.op}"
        with self._lock:
            running = self._running.setdefault(key, threading.Lock())
        with running:  # a double click waits for the first one's answer
            try:
                return self._once(key, seat, act)
            finally:
                with self._lock:
                    self._running.pop(key, None)

    def _once(self, key: str, seat: Seat, act: Act) -> Acted:
        with self._lock:
            if key in self._answers:
                return self._answers[key]
        acted = _acted(seat, act)
        with self._lock:
            self._answers[key] = acted
            while len(self._answers) > REMEMBERED:
                self._answers.popitem(last=False)
        return acted

    def seat_of(self, viewer: Viewer) -> Seat:
        """Return what the viewer's site speaks with. Raises RefusedError where this board cannot speak for it."""
        if not viewer.may_act or viewer.site is None:
            raise RefusedError(f"{viewer.name} may look, and say nothing: ask the coordinator")
        seat = self._seats.get(viewer.site)
        if seat is None:
            raise RefusedError(
                f"this board does not have {viewer.site}'s key, and only that signs {viewer.site}'s word: "
                f"start `relay board` at {viewer.site}"
            )
        return seat


def _acted(seat: Seat, act: Act) -> Acted:
    with seat.alone() as ledger:
        state = ledger.follow()
        job = work.job_named(state, act.job)
        _check_seen(job, act)
        entry, after = work.settled(ledger, seat.pen, job.job, lambda: _say(ledger, seat, state, job, act))
    seat.ring()
    return Acted(
        job=after.job,
        standing=after.standing.value,
        entry=entry.sequence if entry else None,
        words=_in_words(after, entry),
    )


def _check_seen(job: Job, act: Act) -> None:
    if seen(job) != act.seen:
        holder = f" by {job.claim.site} since entry {job.claim.epoch}" if job.claim else ""
        raise LostRaceError(
            f"{job.job} has moved on since you looked: it is {job.standing}{holder}. Nothing was said; look again"
        )


def _in_words(job: Job, entry: Entry | None) -> str:
    who = f" by {job.claim.site}" if job.claim else ""
    return f"{job.job} is {job.standing}{who}; " + (f"entry {entry.sequence}." if entry else "that was so before.")


def _say(ledger: Ledger, seat: Seat, state: State, job: Job, act: Act) -> Entry | None:
    pen, name, reason = seat.pen, job.job, act.reason or ""
    site = state.film().site(seat.site)
    until = parse_moment(act.until, site.zone if site else "UTC") if act.until else None
    match act.act:
        case "claim":
            return work.claim(ledger, pen, name, until)
        case "extend":
            return work.extend(ledger, pen, name, _given(until))
        case "release":
            return work.release(ledger, pen, name, reason)
        case "hand-on":
            return work.offer(ledger, pen, name, _offer(job, act))
        case "take":
            return work.take(ledger, pen, name, until)
        case "decline":
            return work.decline(ledger, pen, name, reason)
        case "accept":
            return work.accept(ledger, pen, name, act.note, despite=_overrules(state, job, act))
        case "return":
            return work.give_back(ledger, pen, name, reason)
        case "reassign":
            return work.reassign(ledger, pen, name, act.to, reason)
        case "restart":
            return work.restart(ledger, pen, name, reason)
        case "withdraw":
            return work.withdraw(ledger, pen, name, reason)


def _overrules(state: State, job: Job, act: Act) -> bool:
    """Answer whether whoever accepts overrules what was found. Raises LostRaceError where more was found since."""
    if act.despite is None:
        return False
    if act.despite != blocks_on(state, job)[1]:
        raise LostRaceError(f"{job.outcome} was looked at anew since you looked. Nothing was said; look again")
    return True


def _given(value: datetime | None) -> datetime:
    if value is None:
        raise RefusedError("no time was given: write it like 2027-01-09T17:00")
    return value


def _offer(job: Job, act: Act) -> HandOnOffered:
    return HandOnOffered(
        job=job.job,
        epoch=1,  # the claim's own is put in where the word is said
        to=act.to or "",
        done=act.done or "",
        left=act.left or "",
        faults=act.faults,
        frames=parse_frames(act.frames) if act.frames else (),
        version=act.version,
    )
