"""What people say about jobs: claim, extend, release, hand on, accept, return, withdraw. One entry each.

Every function says what it wants as a function of what is true, so that saying it again after a lost answer says
nothing twice; where the state has moved on meanwhile, the sentence names who was first.
"""

from collections.abc import Callable
from datetime import datetime, timedelta

from relay.errors import LostRaceError, MissingError, RefusedError
from relay.ledger import route
from relay.ledger.entry import Entry
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Claim, Job, Offer, Standing
from relay.ledger.job_words import (
    ClaimExtended,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    JobAccepted,
    JobClaimed,
    JobOpened,
    JobRestarted,
    JobReturned,
    JobWithdrawn,
    SiteAsked,
    SiteExpected,
)
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.model import FrameRange, ReelName, VersionName

Say = Callable[[State, Job, datetime], Word | None]


def job_named(state: State, text: str) -> Job:
    """Return the job that `text` names: its whole name, or the one job of a reel at a stage. Raises MissingError."""
    job = state.jobs.get(text) or state.jobs.get(f"{text}/1")
    if job is None:
        raise MissingError(f"there is no job {text}: `relay jobs` lists them, such as scan/A/R03/1")
    return job


def held_on(state: State, reel: ReelName, site: str) -> str | None:
    """Return the one job on `reel` that `site` holds, or None. Raises RefusedError where it holds several."""
    held = [job.job for job in state.jobs.values() if job.reel == reel and job.claim and job.claim.site == site]
    if len(held) > 1:
        raise RefusedError(f"{site} holds {len(held)} jobs on {reel}: {', '.join(held)}. Say which one this is for")
    return held[0] if held else None


def _say(ledger: Ledger, pen: Pen, name: str, say: Say) -> Entry | None:
    def decide(state: State, now: datetime) -> list[Word] | None:
        word = say(state, job_named(state, name), now)
        return None if word is None else [word]

    return ledger.append(pen, decide)


def claim(ledger: Ledger, pen: Pen, name: str, until: datetime | None = None) -> Entry | None:
    """Take a free job for this site, until a time or for as long as its stage usually takes.

    None: this site has it already. Raises LostRaceError, naming the holder, where another site was first.
    """

    def say(state: State, job: Job, now: datetime) -> Word | None:
        if job.claim is not None:
            if job.claim.site == pen.name:
                return None
            raise LostRaceError(f"job {job.job} is {job.claim.site}'s since entry {job.claim.epoch}: they were first")
        meant = until or now + timedelta(days=stage_of(state, job).claim_days)
        if meant <= now:
            raise RefusedError(f"a claim until {meant:%Y-%m-%d %H:%M} UTC is over already: name a later time")
        return JobClaimed(job=job.job, until=meant)

    return _say(ledger, pen, name, say)


def own_claim(job: Job, site: str) -> Claim:
    """Return the claim that `site` has on `job`. Raises RefusedError."""
    if job.claim is None or job.claim.site != site:
        held = f"{job.claim.site}'s since entry {job.claim.epoch}" if job.claim else job.standing.value
        raise RefusedError(f"job {job.job} is not {site}'s: it is {held}")
    return job.claim


def extend(ledger: Ledger, pen: Pen, name: str, until: datetime) -> Entry | None:
    """Mean the claim until another time."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        held = own_claim(job, pen.name)
        return None if held.until == until else ClaimExtended(job=job.job, epoch=held.epoch, until=until)

    return _say(ledger, pen, name, say)


def release(ledger: Ledger, pen: Pen, name: str, reason: str) -> Entry | None:
    """Give the job back undone."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        return ClaimReleased(job=job.job, epoch=own_claim(job, pen.name).epoch, reason=reason)

    return _say(ledger, pen, name, say)


def offer(ledger: Ledger, pen: Pen, name: str, draft: HandOnOffered) -> Entry | None:
    """Ask another site to go on; `draft` carries the note, whatever job and epoch stand in it."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        word = draft.model_copy(update={"job": job.job, "epoch": own_claim(job, pen.name).epoch})
        return None if job.offer and _offers(job.offer) == _offers(word) else word

    return _say(ledger, pen, name, say)


def _offers(offer: Offer | HandOnOffered) -> tuple[object, ...]:
    return (offer.to, offer.done, offer.left, offer.faults, offer.frames, offer.version, offer.until)


def _offered_epoch(job: Job) -> int:
    if job.offer is None or job.claim is None:
        raise RefusedError(f"job {job.job} is not offered to anybody: it is {job.standing}")
    return job.claim.epoch


def take(ledger: Ledger, pen: Pen, name: str, until: datetime | None = None) -> Entry | None:
    """Go on with a job that was offered to this site."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        if job.claim and job.claim.site == pen.name and job.offer is None:
            return None
        return HandOnTaken(job=job.job, epoch=_offered_epoch(job), until=until)

    return _say(ledger, pen, name, say)


def decline(ledger: Ledger, pen: Pen, name: str, reason: str) -> Entry | None:
    """Do not go on; or, as the holder, take the offer back."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        if job.offer is None:
            return None
        return HandOnDeclined(job=job.job, epoch=_offered_epoch(job), reason=reason)

    return _say(ledger, pen, name, say)


def _outcome(job: Job) -> VersionName:
    if job.outcome is None:
        raise RefusedError(f"job {job.job} has no outcome yet: it is {job.standing}")
    return job.outcome


def accept(ledger: Ledger, pen: Pen, name: str, note: str = "", *, despite: bool = False) -> Entry | None:
    """Say that the outcome is good. None: said before.

    `despite` what was found, or that nobody looked at it: for the reason in `note`.
    """

    def say(state: State, job: Job, _now: datetime) -> Word | None:
        if job.standing is Standing.ACCEPTED:
            return None
        made = state.versions[_outcome(job)]
        looked, held = (made.inspections[-1:], made.conforms[-1:]) if despite else ((), ())
        return JobAccepted(
            job=job.job,
            version=made.name,
            note=note,
            despite=looked[0].report if looked else None,
            despite_list=held[0].report if held else None,
            unseen=True if despite and not looked else None,
        )

    return _say(ledger, pen, name, say)


def give_back(ledger: Ledger, pen: Pen, name: str, reasons: str) -> Entry | None:
    """Return the outcome with reasons: the job is open again, its last holder asked first."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        return JobReturned(job=job.job, version=_outcome(job), reasons=reasons)

    return _say(ledger, pen, name, say)


def withdraw(ledger: Ledger, pen: Pen, name: str, reason: str) -> Entry | None:
    """Say that the work is not wanted any more."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        return None if job.standing is Standing.WITHDRAWN else JobWithdrawn(job=job.job, reason=reason)

    return _say(ledger, pen, name, say)


def reassign(ledger: Ledger, pen: Pen, name: str, to: str | None, reason: str) -> Entry | None:
    """Take the job from its holder, or ask another site for one that is open or still to open.

    For `to`, or for whoever comes first.
    """

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        if job.standing is Standing.OPEN:
            is_so = (job.prefers, job.begins, job.reason) == (to, None, reason)
            return None if is_so else SiteAsked(job=job.job, to=to, reason=reason)
        if job.claim is None:
            raise RefusedError(f"job {job.job} is nobody's: it is {job.standing}")
        return ClaimReassigned(job=job.job, epoch=job.claim.epoch, to=to, reason=reason)

    def decide(state: State, now: datetime) -> list[Word] | None:
        ahead = to_come(state, name)
        word = _expects(state, ahead, to, reason) if ahead else say(state, job_named(state, name), now)
        return None if word is None else [word]

    return ledger.append(pen, decide)


def to_come(state: State, text: str) -> str | None:
    """Return the name of the job that `text` means, where it is still to open; None where it is open, or never will."""
    names = (text, f"{text}/1")
    if any(name in state.jobs for name in names):
        return None
    return next((name for name in names if route.stage_to_come(state.film(), name)), None)


def _expects(state: State, name: str, to: str | None, reason: str) -> Word | None:
    known = state.expected.get(name)
    is_so = known is not None and (known.site, known.begins, known.reason) == (to, None, reason)
    return None if is_so else SiteExpected(job=name, to=to, reason=reason)


def restart(ledger: Ledger, pen: Pen, name: str, reason: str) -> Entry | None:
    """Let a stopped job be tried again."""

    def say(_state: State, job: Job, _now: datetime) -> Word | None:
        return JobRestarted(job=job.job, reason=reason) if job.standing is Standing.STOPPED else None

    return _say(ledger, pen, name, say)


def ask(
    ledger: Ledger,
    pen: Pen,
    stage: str,
    reel: ReelName,
    inputs: tuple[VersionName, ...],
    frames: tuple[FrameRange, ...],
    prefers: str | None,
    reason: str,
) -> Entry | None:
    """Ask for work beside the route's own: a second pass on some frames, say.

    None: just this was asked for before, and is not done yet.
    """

    def decide(state: State, _now: datetime) -> list[Word] | None:
        if asked_for(state, stage, reel, (inputs, frames, reason)):
            return None
        return [further_pass(state, stage, reel, inputs, prefers, reason, frames)]

    return ledger.append(pen, decide)


def further_pass(
    state: State,
    stage: str,
    reel: ReelName,
    inputs: tuple[VersionName, ...],
    prefers: str | None,
    reason: str,
    frames: tuple[FrameRange, ...] = (),
) -> JobOpened:
    """Return the word that opens another pass on `reel`."""
    return JobOpened(
        job=route.job_name(stage, reel, route.next_pass(state, stage, reel)),
        stage=stage,
        reel=reel,
        inputs=inputs,
        frames=frames,
        prefers=prefers,
        reason=reason,
    )


def asked_for(state: State, stage: str, reel: ReelName, what: tuple[object, object, str]) -> Job | None:
    """Return the pass that was asked for with these inputs, frames and reason, and that nobody handed in yet."""
    own = route.job_name(stage, reel)
    asked = [job for job in route.passes(state, stage, reel) if (job.inputs, job.frames, job.asked) == what]
    return next((job for job in asked if job.outcome is None and not job.is_over and job.job != own), None)


def open_due(ledger: Ledger, pen: Pen) -> Entry | None:
    """Write down what the route asks for and nobody has said yet."""
    return ledger.append(pen, lambda state, _now: route.due(state))


def settled(ledger: Ledger, pen: Pen, name: str, say: Callable[[], Entry | None]) -> tuple[Entry | None, Job]:
    """Say one thing about a job, with what the route asks for before and after it; return the entry and the job."""
    open_due(ledger, pen)
    entry = say()
    open_due(ledger, pen)
    return entry, job_named(ledger.state, name)
