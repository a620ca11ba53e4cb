"""Which jobs people should be told about: not claimed in time, not finished in time, and the like. Pure."""

from datetime import datetime, timedelta

from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State
from relay.model import Stage


def warnings_of(state: State, job: Job, now: datetime) -> tuple[str, ...]:
    """Return what is wrong with `job` at `now`, in words; nothing of it happens by itself."""
    stage = stage_of(state, job)
    return tuple(word for word in (_late(job, stage, now), _shaken(job), _stuck(job), _kept(job)) if word)


def is_late(state: State, job: Job, now: datetime) -> bool:
    """Answer whether `job` was not claimed, or not finished, in time."""
    return _late(job, stage_of(state, job), now) is not None


def _late(job: Job, stage: Stage, now: datetime) -> str | None:
    if job.standing is Standing.OPEN and now > job.waiting_since + timedelta(hours=stage.claim_within_hours):
        anew = f", with new inputs since {job.given_at:%Y-%m-%d %H:%M}" if job.given_at > job.since else ""
        return f"not claimed in time: open since {job.since:%Y-%m-%d %H:%M}{anew} UTC"
    if job.claim and job.claim.until and now > job.claim.until:
        return f"not finished in time: meant until {job.claim.until:%Y-%m-%d %H:%M} UTC"
    return None


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
    return f"late work is kept, unaccepted: {', '.join(job.late)}" if job.late and not job.is_over else None
