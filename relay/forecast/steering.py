"""What a plan asks people for: who takes an open job, and to whom work goes when a house closes. Pure."""

from datetime import datetime, timedelta
from typing import NamedTuple

from relay.forecast.ground import Ground, place_of
from relay.forecast.outlook import Forecast
from relay.forecast.words import told
from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import SiteAsked
from relay.shifts.chain import cause_in_words
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
    piece = next((piece for piece in found.plan.pieces if piece.task == job.job), None)
    if piece is None:
        return None
    site = place_of(piece.site)
    if site == job.prefers or not found.ground.state.has_joined(site):
        return None
    why = f"planned: {told(cause_in_words(found.problem, piece.cause, piece))}"[:_LONGEST]
    return SiteAsked(job=job.job, to=site, begins=found.ground.instant(piece.start), reason=why)


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
