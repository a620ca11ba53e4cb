"""Which jobs people should be told about: not claimed, not finished or not accepted in time, and the like. Pure."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

from relay.ledger import route
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State
from relay.model import ReelName, Stage

SOON = timedelta(days=7)
"""How long before it is due people are told that a job is not accepted yet."""


def warnings_of(state: State, job: Job, now: datetime) -> tuple[str, ...]:
    """Return what is wrong with `job` at `now`, in words; nothing of it happens by itself."""
    stage = stage_of(state, job)
    words = (_stuck(job), _slow(job, stage, now), _due(state, job, now), _waits(state, job), _shaken(job), _kept(job))
    return tuple(word for word in words if word)


def is_late(state: State, job: Job, now: datetime) -> bool:
    """Answer whether `job` was not claimed, not finished or not accepted in time."""
    return is_slow(state, job, now) or is_overdue(state, job, now)


def is_slow(state: State, job: Job, now: datetime) -> bool:
    """Answer whether nobody claimed `job`, or its holder did not finish it, in time."""
    return _slow(job, stage_of(state, job), now) is not None


def is_overdue(state: State, job: Job, now: datetime) -> bool:
    """Answer whether `job` had to be accepted by now, for the premiere's sake, and is not."""
    due = due_of(state, job)
    return due is not None and not job.is_over and now > due


def is_due_soon(state: State, job: Job, now: datetime) -> bool:
    """Answer whether `job` is due within `SOON` and not accepted yet."""
    due = due_of(state, job)
    return due is not None and not job.is_over and due - SOON <= now <= due


def due_of(state: State, job: Job) -> datetime | None:
    """Return the instant by which `job` must be accepted, in UTC; None: whenever."""
    return state.film().due(stage_of(state, job))


class NotOpenYet(NamedTuple):
    """A job that must be done by `due`, and that the route cannot even open: what comes before it is not there."""

    job: str
    stage: str
    reel: ReelName
    due: datetime

    def told(self, now: datetime) -> str:
        """Say how it stands with that."""
        said = "not accepted in time" if now > self.due else "not open yet"
        return f"{said}: due {self.due:%Y-%m-%d %H:%M} UTC, and what comes before it is not there"


def not_open_yet(state: State, now: datetime) -> list[NotOpenYet]:
    """Return the jobs that are due within `SOON`, or were, and cannot be begun."""
    return [each for each in _still_to_open(state) if each.due - SOON <= now]


def _still_to_open(state: State) -> Iterator[NotOpenYet]:
    film = state.film()
    for stage in film.route:
        due = film.due(stage)
        for reel in route.reels_of(film, stage) if due else ():
            name = route.job_name(stage.name, reel)
            if due and name not in state.jobs and not route.never_opens(state, stage, reel):
                yield NotOpenYet(name, stage.name, reel, due)


def _slow(job: Job, stage: Stage, now: datetime) -> str | None:
    if job.standing is Standing.OPEN and now > job.waiting_since + timedelta(hours=stage.claim_within_hours):
        anew = f", with new inputs since {job.given_at:%Y-%m-%d %H:%M} UTC" if job.given_at > job.since else ""
        return f"not claimed in time: open since {job.since:%Y-%m-%d %H:%M} UTC{anew}"
    if job.claim and job.claim.until and now > job.claim.until:
        return f"not finished in time: meant until {job.claim.until:%Y-%m-%d %H:%M} UTC"
    return None


def _due(state: State, job: Job, now: datetime) -> str | None:
    due = due_of(state, job)
    if due is None or job.is_over:
        return None
    if is_overdue(state, job, now):
        return f"not accepted in time: due {due:%Y-%m-%d %H:%M} UTC"
    if job.claim and job.claim.until and job.claim.until > due:
        return f"meant until {job.claim.until:%Y-%m-%d %H:%M} UTC, but due {due:%Y-%m-%d %H:%M} UTC"
    return f"due {due:%Y-%m-%d %H:%M} UTC, not accepted yet" if is_due_soon(state, job, now) else None


def _waits(state: State, job: Job) -> str | None:
    """Say whose move it is with work that was handed in, where the stage names somebody."""
    stage = stage_of(state, job)
    if job.standing is not Standing.HANDED_IN or job.outcome is None:
        return None
    if stage.received_by and not route.is_received(state, stage, job.outcome):
        return f"on its way to {stage.received_by}"
    return f"waits for the word of {' or '.join(stage.accepted_by)}" if stage.accepted_by else None


def _shaken(job: Job) -> str | None:
    if not job.stands_on_returned or job.standing is Standing.WITHDRAWN:
        return None
    return f"stands on {', '.join(job.stands_on_returned)}, which was returned"


def _stuck(job: Job) -> str | None:
    if job.standing is not Standing.STOPPED:
        return None
    if not job.failures:
        return "stopped: its workers fell silent again and again"
    said = job.said.strip().rpartition("\n")[2]
    return f"stopped after {job.failures} {'try' if job.failures == 1 else 'tries'}: {said}"


def _kept(job: Job) -> str | None:
    return f"late work is kept, unaccepted: {', '.join(job.late)}" if job.late else None
