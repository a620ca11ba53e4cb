"""The life of a job up to its outcome: opened, claimed, handed on, given back. Pure. docs/STATES.md draws it.

A word about a claim that carries another epoch than the present claim's comes from a former holder and never counts.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import assert_never

from relay.errors import RefusedError
from relay.ledger import outcome_rules, returned, route
from relay.ledger.job_state import Claim, Expected, Job, Offer, Standing
from relay.ledger.job_words import (
    ClaimExtended,
    ClaimLapsed,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    InputsRenewed,
    JobAccepted,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    JobRestarted,
    JobReturned,
    JobWithdrawn,
    JobWord,
    SiteAsked,
    SiteExpected,
    TryFailed,
    WorkCameLate,
)
from relay.ledger.saying import WORKING, Saying
from relay.ledger.state import Role, State
from relay.model import Stage, reel_of

LONGEST_CLAIM = timedelta(days=366)
"""How far from now a person's claim may be meant; a year's work is extended when it comes to that."""

YEARS = range(2000, 3000)
"""A clock may be wrong by a day or a decade; past these years the sums of dates overflow, for everybody who reads."""

LAPSES_A_TRY = 5
"""How many lapses weigh as much as one failed try: most workers are killed by something else than their job."""


def fold_job(state: State, word: JobWord, saying: Saying) -> None:
    """Add one word about a job to `state`. Raises RefusedError."""
    saying.check_role("say anything about a job", *WORKING)
    if saying.time.year not in YEARS:
        raise RefusedError(f"{saying.by}'s clock says {saying.time:%Y-%m-%d}: set it right, then say it again")
    if isinstance(word, JobOpened):
        _opened(state, word, saying)
        return
    if isinstance(word, SiteExpected):
        _expected(state, word, saying)
        return
    job = job_named(state, word.job)
    state.jobs[word.job] = _after(state, job, word, saying)
    if isinstance(word, JobReturned | JobWithdrawn) and job.outcome is not None:
        returned.shake(state, job.outcome)


def _after(state: State, job: Job, word: JobWord, saying: Saying) -> Job:
    match word:
        case JobClaimed():
            return _claimed(state, job, word, saying)
        case ClaimExtended():
            return _extended(job, word, saying)
        case ClaimReleased():
            check_holder(job, word.epoch, saying)
            return job.moved(Standing.OPEN, saying.time, reason=word.reason)
        case ClaimLapsed():
            return _lapsed(state, job, word, saying)
        case ClaimReassigned():
            return _reassigned(state, job, word, saying)
        case SiteAsked():
            return _asked_of(state, job, word, saying)
        case HandOnOffered():
            return _offered(state, job, word, saying)
        case HandOnTaken():
            return _taken(state, job, word, saying)
        case HandOnDeclined():
            return _declined(job, word, saying)
        case InputsRenewed():
            return _renewed(state, job, word, saying)
        case (
            JobHandedIn()
            | WorkCameLate()
            | TryFailed()
            | JobRestarted()
            | JobAccepted()
            | JobReturned()
            | JobWithdrawn()
        ):
            return outcome_rules.after(state, job, word, saying)
        case JobOpened() | SiteExpected():
            raise RefusedError(f"job {word.job} is open already")
        case _:
            assert_never(word)


def job_named(state: State, name: str) -> Job:
    """Return the job called `name`. Raises RefusedError."""
    job = state.jobs.get(name)
    if job is None:
        raise RefusedError(f"there is no job {name}: `relay jobs` lists them")
    return job


def stage_of(state: State, job: Job) -> Stage:
    """Return the stage of `job` as the production's file has it; a plain one where the route does not."""
    return state.film().stage(job.stage) or Stage(name=job.stage)


def check_epoch(job: Job, epoch: int) -> Claim:
    """Return the present claim. Raises RefusedError, naming the present holder, when it is not that of `epoch`."""
    if job.claim is None or job.claim.epoch != epoch:
        raise RefusedError(f"the claim of entry {epoch} on job {job.job} is over: the job is {_told(job)}")
    return job.claim


def check_holder(job: Job, epoch: int, saying: Saying) -> Claim:
    """Return the present claim. Raises RefusedError unless it is that of `epoch` and the signer's."""
    claim = check_epoch(job, epoch)
    if claim.site != saying.by:
        raise RefusedError(f"job {job.job} is {claim.site}'s since entry {claim.epoch}, not {saying.by}'s")
    return claim


def check_standing(job: Job, what: str, *standings: Standing) -> None:
    """Raise RefusedError, saying who has the job or how it stands, unless it stands as one of `standings`."""
    if job.standing not in standings:
        raise RefusedError(f"job {job.job} cannot be {what}: it is {_told(job)}")


def _told(job: Job) -> str:
    return f"{job.claim.site}'s since entry {job.claim.epoch}" if job.claim else job.standing.value


def _opened(state: State, word: JobOpened, saying: Saying) -> None:
    if word.job in state.jobs:
        raise RefusedError(f"job {word.job} is open already")
    if not route.has_reel(state.film(), word.reel):
        raise RefusedError(f"job {word.job} is about reel {word.reel}, which the production does not have")
    _check_versions(state, word.job, word.inputs)
    _check_asked(state, word, saying)
    if word.prefers is not None:
        check_can(state, word.prefers, word.stage)
    expected = _still_expected(state, word)
    state.jobs[word.job] = Job(
        job=word.job,
        stage=word.stage,
        reel=word.reel,
        inputs=word.inputs,
        frames=word.frames,
        opened=saying.entry,
        since=saying.time,
        given=saying.entry,
        given_at=saying.time,
        prefers=expected.site if expected else word.prefers,
        begins=expected.begins if expected else None,
        asked=word.reason,
        reason=expected.reason if expected else "",
        stands_on_returned=returned.marks(state, word.inputs),
    )


def _still_expected(state: State, word: JobOpened) -> Expected | None:
    """Return who was expected to go on, where that site can still; a job that somebody asks for says so itself."""
    expected = state.expected.get(word.job)
    if expected is None or expected.site is None:
        return None
    worker = state.film().site(expected.site)
    can = worker is not None and word.stage in worker.stages and state.has_joined(expected.site)
    return expected if can else None


def _expected(state: State, word: SiteExpected, saying: Saying) -> None:
    if word.job in state.jobs:
        raise RefusedError(f"job {word.job} is open already: ask a site for it, nobody is expected any more")
    if not is_coordinator(saying):
        raise RefusedError(f"{saying.by} may not say who is expected for job {word.job}: the coordinator may")
    stage = route.stage_to_come(state.film(), word.job)
    if stage is None:
        raise RefusedError(f"job {word.job} will not open: the route has no such stage and reel")
    if word.to is not None:
        check_can(state, word.to, stage)
    state.expected[word.job] = Expected(word.to, word.begins, word.reason, saying.entry)


def _check_versions(state: State, job: str, versions: Sequence[str]) -> None:
    for version in versions:
        if version not in state.versions:
            raise RefusedError(f"job {job} takes {version}, which does not exist")


def _check_asked(state: State, word: JobOpened, saying: Saying) -> None:
    """A job is the route's own, which anyone may write down, or work that the coordinator or an acceptor asks for."""
    film = state.film()
    stage = film.stage(word.stage)
    if film.route and stage is None:
        raise RefusedError(f"job {word.job} is at stage {word.stage}, which the route does not have")
    if word.job == route.job_name(word.stage, word.reel):
        # Nothing of the signer's own may come in with what anyone may write down: no frames, no preference.
        if word != route.due_at(state, word.stage, word.reel):
            raise RefusedError(f"job {word.job} is not due: the route does not ask for just this now")
        return
    if not may_accept(stage or Stage(name=word.stage), saying):
        raise RefusedError(f"{saying.by} may not ask for more work at {word.stage}: the coordinator may")
    asked = route.job_name(word.stage, word.reel, route.next_pass(state, word.stage, word.reel))
    if word.job != asked:
        raise RefusedError(f"a job asked for on {word.reel} at {word.stage} is called {asked} now, not {word.job}")


def may_accept(stage: Stage, saying: Saying) -> bool:
    """Answer whether the signer may accept, return and ask for work of `stage`."""
    return is_coordinator(saying) or saying.by in stage.accepted_by


def is_coordinator(saying: Saying) -> bool:
    """Answer whether the signer coordinates."""
    return saying.signer.role is Role.COORDINATOR


def check_can(state: State, site: str, stage: str) -> None:
    """Raise RefusedError unless the production's file says that `site` does `stage`, and it can say yes to it."""
    film = state.film()
    worker = film.site(site)
    if worker is None:
        raise RefusedError(f"the production has no site {site}")
    if film.route and stage not in worker.stages:
        raise RefusedError(
            f"{site} does not do {stage}: the production's file gives it {', '.join(worker.stages) or 'no stage'}"
        )
    if not state.has_joined(site):
        raise RefusedError(f"{site} is not on the roster: it never joined, or was removed; name another site")


def _check_until(until: datetime | None, saying: Saying) -> None:
    if until is not None and abs(until - saying.time) > LONGEST_CLAIM:
        raise RefusedError(
            f"a claim until {until:%Y-%m-%d} says nothing to anybody: name a day within {LONGEST_CLAIM.days} days"
        )


def _claimed(state: State, job: Job, word: JobClaimed, saying: Saying) -> Job:
    check_standing(job, "claimed", Standing.OPEN)
    check_can(state, saying.by, job.stage)
    if (word.lease is None) == (word.until is None):
        raise RefusedError(f"a claim on job {job.job} is for a lease or until a time: one of the two")
    _check_until(word.until, saying)
    _check_new_epoch(job, saying)
    claim = Claim(saying.by, saying.entry, saying.time, word.lease, word.until)
    return replace(job, standing=Standing.CLAIMED, since=saying.time, claim=claim)


def _check_new_epoch(job: Job, saying: Saying) -> None:
    if job.past and job.past[-1].epoch == saying.entry:
        raise RefusedError(f"job {job.job} was claimed in this very entry: two claims cannot have one number")


def _extended(job: Job, word: ClaimExtended, saying: Saying) -> Job:
    held = _persons(job, check_holder(job, word.epoch, saying), "is renewed by its signs of life, not by a word")
    _check_until(word.until, saying)
    return replace(job, claim=replace(held, until=word.until))


def _persons(job: Job, claim: Claim, instead: str) -> Claim:
    if claim.lease is not None:
        raise RefusedError(f"the claim on job {job.job} is a machine's: it {instead}")
    return claim


def _lapsed(state: State, job: Job, word: ClaimLapsed, saying: Saying) -> Job:
    lease = check_epoch(job, word.epoch).lease
    if lease is None:
        raise RefusedError(f"job {job.job} is a person's: such a claim never lapses; the coordinator may reassign it")
    if word.silent <= lease:
        raise RefusedError(
            f"the claim of entry {word.epoch} on job {job.job} has not lapsed: its holder was silent for {word.silent} "
            f"s by the store's clock, and its lease is {lease} s. Wait, and look again"
        )
    lapses = job.lapses + 1
    stops = lapses >= LAPSES_A_TRY * stage_of(state, job).tries
    return job.moved(Standing.STOPPED if stops else Standing.OPEN, saying.time, lapses=lapses, reason="")


def _reassigned(state: State, job: Job, word: ClaimReassigned, saying: Saying) -> Job:
    check_epoch(job, word.epoch)
    if not is_coordinator(saying):
        raise RefusedError(f"{saying.by} may not reassign job {job.job}: the coordinator may")
    if word.to is not None:
        check_can(state, word.to, job.stage)
    return job.moved(Standing.OPEN, saying.time, prefers=word.to, reason=word.reason)


def _asked_of(state: State, job: Job, word: SiteAsked, saying: Saying) -> Job:
    check_standing(job, "asked of a site", Standing.OPEN)
    if not is_coordinator(saying):
        raise RefusedError(f"{saying.by} may not say who is asked first for job {job.job}: the coordinator may")
    if word.to is not None:
        check_can(state, word.to, job.stage)
    return replace(job, prefers=word.to, begins=word.begins, reason=word.reason)


def _offered(state: State, job: Job, word: HandOnOffered, saying: Saying) -> Job:
    _persons(job, check_holder(job, word.epoch, saying), "is given back, not handed on")
    if state.film().route and not stage_of(state, job).may_move:
        raise RefusedError(f"work at {job.stage} stays where it was begun: the route does not let it move")
    if word.to == saying.by:
        raise RefusedError(f"job {job.job} is {saying.by}'s already: offer it to another site")
    check_can(state, word.to, job.stage)
    _check_until(word.until, saying)
    _check_versions(state, job.job, [word.version] if word.version else [])
    if word.version and reel_of(word.version) != job.reel:
        raise RefusedError(f"job {job.job} is about reel {job.reel}: {word.version} is no version of it")
    offer = Offer(word.to, saying.entry, word.done, word.left, word.faults, word.frames, word.version, word.until)
    return replace(job, offer=offer)


def _check_offer(job: Job, epoch: int, *names: str) -> Offer:
    check_epoch(job, epoch)
    if job.offer is None:
        raise RefusedError(f"job {job.job} is not offered to anybody")
    if names[0] not in {job.offer.to, *names[1:]}:
        raise RefusedError(f"job {job.job} is offered to {job.offer.to}, not to {names[0]}")
    return job.offer


def _taken(state: State, job: Job, word: HandOnTaken, saying: Saying) -> Job:
    offer = _check_offer(job, word.epoch, saying.by)
    check_can(state, saying.by, job.stage)
    _check_until(word.until, saying)
    _check_new_epoch(job, saying)
    until = word.until or offer.until or check_epoch(job, word.epoch).until
    moved = job.moved(Standing.CLAIMED, saying.time, hand_ons=(*job.hand_ons, offer))
    return replace(moved, claim=Claim(saying.by, saying.entry, saying.time, until=until))


def _declined(job: Job, word: HandOnDeclined, saying: Saying) -> Job:
    holder = check_epoch(job, word.epoch).site
    _check_offer(job, word.epoch, saying.by, holder)
    return replace(job, offer=None)


def _renewed(state: State, job: Job, word: InputsRenewed, saying: Saying) -> Job:
    if word != route.due_at(state, job.stage, job.reel):
        raise RefusedError(f"job {job.job} is {_told(job)}, and the route does not give it these inputs now")
    waiting = job.afresh() if job.standing is Standing.OPEN else job.moved(Standing.OPEN, saying.time).afresh()
    given = replace(waiting, inputs=word.inputs, given=saying.entry, given_at=saying.time)
    return replace(given, stands_on_returned=returned.marks(state, word.inputs))
