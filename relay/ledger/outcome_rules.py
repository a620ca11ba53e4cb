"""The life of a job from its outcome on: handed in, accepted, returned, stopped, withdrawn. Pure."""

from dataclasses import replace
from typing import assert_never

from relay.errors import RefusedError
from relay.ledger import job_rules, returned, route
from relay.ledger.job_state import Job, Return, Standing
from relay.ledger.job_words import (
    JobAccepted,
    JobHandedIn,
    JobRestarted,
    JobReturned,
    JobWithdrawn,
    TryFailed,
    WorkCameLate,
)
from relay.ledger.saying import Saying
from relay.ledger.state import State
from relay.model import VersionName, reel_of

OutcomeWord = JobHandedIn | WorkCameLate | TryFailed | JobRestarted | JobAccepted | JobReturned | JobWithdrawn


def after(state: State, job: Job, word: OutcomeWord, saying: Saying) -> Job:
    """Return the job as it is after `word`. Raises RefusedError."""
    match word:
        case JobHandedIn():
            job_rules.check_holder(job, word.epoch, saying)
            _check_made(state, job, word.version, saying)
            done = job.moved(Standing.HANDED_IN, saying.time, outcome=word.version, holder=saying.by)
            return replace(done, note=word.note, reason="")
        case WorkCameLate():
            return _late(state, job, word, saying)
        case TryFailed():
            return _failed(state, job, word, saying)
        case JobRestarted():
            _check_rules(state, job, "restart", saying)
            job_rules.check_standing(job, "restarted", Standing.STOPPED)
            return job.moved(Standing.OPEN, saying.time, reason=word.reason).afresh()
        case JobAccepted():
            return _accepted(state, job, word, saying)
        case JobReturned():
            return _returned(state, job, word, saying)
        case JobWithdrawn():
            return _withdrawn(state, job, word, saying)
        case _:
            assert_never(word)


def _check_rules(state: State, job: Job, what: str, saying: Saying) -> None:
    if not job_rules.may_accept(job_rules.stage_of(state, job), saying):
        raise RefusedError(f"{saying.by} may not {what} job {job.job}: the coordinator may")


def _check_made(state: State, job: Job, version: VersionName, saying: Saying) -> None:
    made = state.versions.get(version)
    if made is None or made.entry != saying.entry:
        raise RefusedError(f"job {job.job} is handed in with {version}, which this entry does not make")
    if reel_of(version) != job.reel:
        raise RefusedError(f"job {job.job} is about reel {job.reel}: {version} is no version of it")
    for other in route.jobs_on(state, job.reel):
        if version in returned.made_by(other):
            raise RefusedError(f"{version} was sent for job {other.job}: another job needs a version of its own")


def _late(state: State, job: Job, word: WorkCameLate, saying: Saying) -> Job:
    _check_made(state, job, word.version, saying)
    if not any((claim.epoch, claim.site) == (word.epoch, saying.by) for claim in job.past):
        raise RefusedError(f"{saying.by} never held job {job.job} by a claim of entry {word.epoch} that is over")
    return replace(job, late=(*job.late, word.version))


def _failed(state: State, job: Job, word: TryFailed, saying: Saying) -> Job:
    job_rules.check_holder(job, word.epoch, saying)
    failures = job.failures + 1
    stops = failures >= job_rules.stage_of(state, job).tries
    standing = Standing.STOPPED if stops else Standing.OPEN
    return job.moved(standing, saying.time, failures=failures, said=word.said, reason="")


def _check_outcome(state: State, job: Job, version: VersionName, what: str, saying: Saying) -> None:
    _check_rules(state, job, what, saying)
    if job.outcome != version:
        raise RefusedError(f"the outcome of job {job.job} is {job.outcome or 'not there yet'}, not {version}")


def _accepted(state: State, job: Job, word: JobAccepted, saying: Saying) -> Job:
    _check_outcome(state, job, word.version, "accept", saying)
    job_rules.check_standing(job, "accepted", Standing.HANDED_IN)
    if job.holder == saying.by and not job_rules.is_coordinator(saying):
        raise RefusedError(
            f"{saying.by} made {word.version} and may not accept its own work: another acceptor or the coordinator may"
        )
    _check_received(state, job, word.version)
    _check_inspected(state, job, word)
    _check_conformed(state, job, word)
    return job.moved(Standing.ACCEPTED, saying.time, reason=word.note)


def _check_inspected(state: State, job: Job, word: JobAccepted) -> None:
    """Refuse what nobody looked at, where the stage asks for it, and what an inspection blocks."""
    looked = state.versions[word.version].inspections
    if not looked:
        if job_rules.stage_of(state, job).inspected:
            _check_unseen(state, word)
        return
    if not looked[-1].blocking:
        return
    if word.despite != looked[-1].report:
        raise RefusedError(
            f"entry {looked[-1].entry} blocks {word.version}, by {looked[-1].blocking} of what was found: see "
            f"`relay reel findings {word.version}`. Return it; or accept it with --despite, if they are no faults"
        )
    if not word.note.strip():
        raise RefusedError(f"{word.version} is accepted despite its findings: say in --note why they are no faults")


def _check_conformed(state: State, job: Job, word: JobAccepted) -> None:
    """Refuse what lies otherwise than its cut list by the newest check, or was not checked where the stage asks."""
    held = state.versions[word.version].conforms
    if not held and job_rules.stage_of(state, job).conformed:
        raise RefusedError(
            f"nobody held {word.version} against its cut list yet, and work of stage {job.stage} is accepted only "
            f"after that. The worker of the site that received it sees to it; or: `relay conform {word.version} LIST`"
        )
    if not held or not held[-1].blocking:
        return
    if word.despite_list != held[-1].report:
        raise RefusedError(
            f"entry {held[-1].entry} says that {word.version} lies otherwise than its cut list, in {held[-1].blocking} "
            f"findings: see `relay conform {word.version}`. Return it; or accept it with --despite, if they are none"
        )
    if not word.note.strip():
        raise RefusedError(f"{word.version} is accepted though it lies otherwise than its list: say in --note why")


def _check_unseen(state: State, word: JobAccepted) -> None:
    """Refuse what nobody looked at and should have, unless a person takes that upon themselves and says why."""
    if not word.unseen:
        unseen = state.versions[word.version].unseen
        said = f": entry {unseen[-1].entry}, {unseen[-1].site}, says {unseen[-1].why!r}" if unseen else " yet"
        raise RefusedError(
            f"nobody looked at {word.version}{said}. It is accepted only after that: the worker of the site that "
            "received it looks, and so does `relay fetch` there, with the extra `media`. Or accept it with --despite, "
            "and say in --note who looked at it, or why nobody need"
        )
    if not word.note.strip():
        raise RefusedError(f"{word.version} is accepted though nobody looked at it: say in --note why")


def _check_received(state: State, job: Job, version: VersionName) -> None:
    stage = job_rules.stage_of(state, job)
    if route.is_received(state, stage, version):
        return
    if stage.received_by is None:
        raise RefusedError(
            f"{version} was not received whole by anybody yet: it is accepted only after that. "
            "A worker sees to it within a minute; `relay reel show` tells"
        )
    raise RefusedError(
        f"{version} was not received whole by {stage.received_by} yet, where {job.stage} ends: it is accepted only "
        f"after that. There: `relay fetch {version} FOLDER`, or `relay sweep`"
    )


def _returned(state: State, job: Job, word: JobReturned, saying: Saying) -> Job:
    _check_outcome(state, job, word.version, "return", saying)
    job_rules.check_standing(job, "returned", Standing.HANDED_IN, Standing.ACCEPTED)
    back = Return(word.version, saying.by, saying.entry, word.reasons)
    again = job.moved(Standing.OPEN, saying.time, outcome=None, prefers=job.holder, reason=word.reasons)
    return replace(again, returns=(*job.returns, back)).afresh()


def _withdrawn(state: State, job: Job, word: JobWithdrawn, saying: Saying) -> Job:
    """Withdraw a job: the coordinator any, an acceptor what was asked for beside the route and would hold it up."""
    if job.job == route.job_name(job.stage, job.reel) and not job_rules.is_coordinator(saying):
        raise RefusedError(f"{saying.by} may not withdraw job {job.job}, which the route asks for: the coordinator may")
    _check_rules(state, job, "withdraw", saying)
    if job.is_over:
        raise RefusedError(f"job {job.job} is {job.standing} already")
    return job.moved(Standing.WITHDRAWN, saying.time, reason=word.reason)
