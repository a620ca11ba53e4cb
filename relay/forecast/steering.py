"""What a plan asks people for: who takes an open job, who goes on after it, and to whom work goes when a house closes.

Pure: what is said comes of the forecast alone.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from relay.forecast.ground import Ground, place_of
from relay.forecast.outlook import Forecast
from relay.forecast.words import told
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import SiteAsked, SiteExpected
from relay.ledger.route import stage_to_come
from relay.ledger.state import State
from relay.shifts.chain import cause_in_words
from relay.shifts.plan import Piece
from relay.shifts.problem import Task, TaskId
from relay.shifts.zones import instant_of, minute_of

LEAD = timedelta(minutes=30)
"""How long before a house closes its people are told to whom their work goes: time enough for a note."""

_LONGEST = 400


class Evening(NamedTuple):
    """Work that is to be handed on when its holder's house closes."""

    job: str
    to: str
    closes: datetime


def is_a_person_s(job: Job) -> bool:
    """Answer whether people said who is asked first, by returning, reassigning, asking: no plan changes that."""
    return job.prefers is not None and job.begins is None


def is_open_to_plans(job: Job) -> bool:
    """Answer whether a plan may say who is asked first for a job."""
    return job.standing is Standing.OPEN and not is_a_person_s(job)


def to_ask(found: Forecast) -> list[SiteAsked]:
    """Return what must be said so that each open job is asked of the site that the plan has for it."""
    state = found.ground.state
    words = [_asked(found, job) for job in state.jobs.values() if is_open_to_plans(job)]
    return [word for word in words if word is not None]


def _asked(found: Forecast, job: Job) -> SiteAsked | None:
    piece = found.first_pieces.get(TaskId(job.job))
    if piece is None:
        return None
    site = place_of(piece.site)
    if site == job.prefers or not found.ground.state.has_joined(site):
        return None
    begins = found.ground.instant(piece.start)
    return SiteAsked(job=job.job, to=site, begins=begins, reason=_why(found, piece))


def _why(found: Forecast, piece: Piece) -> str:
    return f"planned: {told(cause_in_words(found.problem, piece.cause, piece))}"[:_LONGEST]


def is_under_way(state: State, job: Job) -> bool:
    """Answer whether somebody works on a job, or is done, or a machine will be at once: who goes on is of interest."""
    if job.standing is Standing.OPEN:
        return stage_of(state, job).is_automatic
    return job.standing in {Standing.CLAIMED, Standing.HANDED_IN}


def to_expect(found: Forecast) -> list[SiteExpected]:
    """Return what must be said so that what is under way is received by the site that the plan has go on with it."""
    state = found.ground.state
    under_way = {name for name, job in state.jobs.items() if is_under_way(state, job)}
    words = [_expected(found, task) for task in found.problem.tasks if under_way.intersection(task.after)]
    return [word for word in words if word is not None]


def _expected(found: Forecast, task: Task) -> SiteExpected | None:
    state, piece = found.ground.state, found.first_pieces.get(task.id)
    if piece is None or task.id in state.jobs or stage_to_come(found.ground.film, task.id) is None:
        return None
    site, known = place_of(piece.site), state.expected.get(task.id)
    if known is not None and (known.begins is None or known.site == site):
        return None  # what a person said stays
    if not state.has_joined(site):
        return None
    begins = found.ground.instant(piece.start)
    return SiteExpected(job=task.id, to=site, begins=begins, reason=_why(found, piece))


def closes_soon(ground: Ground, site: str) -> datetime | None:
    """Return when `site` closes, where that is within `LEAD`; None where it does not, or is closed."""
    now = minute_of(ground.now)
    lead = LEAD // timedelta(minutes=1)
    window = next(iter(ground.calendars[site].windows(now, now + lead + 1)), None)
    if window is None or window.start > now or window.end > now + lead:
        return None
    return instant_of(window.end)


def held_by(ground: Ground, site: str) -> list[Job]:
    """Return the jobs that people at `site` hold and may hand on, and have not offered to anybody."""
    jobs = [job for job in ground.state.jobs.values() if job.claim and job.claim.site == site and not job.claim.lease]
    stages = {stage.name for stage in ground.film.route if stage.may_move}
    return [job for job in jobs if job.stage in stages and job.offer is None]


def evenings(found: Forecast, site: str, closes: datetime) -> list[Evening]:
    """Return what the plan hands on from `site` when it closes, and to whom."""
    closing, held = found.ground.minute(closes), {job.job for job in held_by(found.ground, site)}
    going = set[str]()
    found_so: list[Evening] = []
    for piece in found.plan.pieces:
        if piece.task in going:
            found_so.append(Evening(piece.task, place_of(piece.site), closes))
            going.discard(piece.task)
        if piece.handed_on and place_of(piece.site) == site and piece.task in held and piece.finish <= closing:
            going.add(piece.task)
    return found_so
