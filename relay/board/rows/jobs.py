"""Jobs as rows: how each stands, who has the move, and what whoever looks may say about it. Pure."""

from datetime import datetime

from relay.board.rows.acts import ActName, acts_on, blocks_on, seen, successors
from relay.board.rows.moves import Move, move_of
from relay.board.rows.strips import Fill, fill_of
from relay.board.rows.view import Frames, View, Viewer
from relay.ledger import lateness
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Offer
from relay.model import Frozen, ReelName, VersionName


class OfferRow(Frozen):
    """A hand-on and its note."""

    to: str
    entry: int
    done: str
    left: str
    faults: str
    frames: Frames
    version: VersionName | None


class ReturnRow(Frozen):
    """One time that the work came back."""

    version: VersionName
    by: str
    entry: int
    reasons: str


class JobRow(Frozen):
    """Work at one stage."""

    job: str
    stage: str
    reel: ReelName
    standing: Fill
    is_over: bool
    is_automatic: bool
    holder: str | None
    epoch: int | None
    opened: int
    since: datetime
    until: datetime | None
    prefers: str | None
    inputs: tuple[VersionName, ...]
    frames: Frames
    outcome: VersionName | None
    note: str
    asked: str
    offer: OfferRow | None
    hand_ons: tuple[OfferRow, ...]
    returns: tuple[ReturnRow, ...]
    late: tuple[VersionName, ...]
    move: Move | None
    mind: tuple[str, ...]
    is_late: bool
    seen: str
    """Goes back with whatever is said about the job: what has changed since then is not overrun."""
    acts: tuple[ActName, ...]
    blocked: tuple[str, ...]
    """What keeps the outcome from being accepted, unless a person takes that upon themselves and says why."""
    overrules: str
    """Goes back with such an acceptance: what is found later is not overruled."""
    successors: tuple[str, ...]
    """The sites it could be handed on to, or reassigned to."""


def job_rows(view: View, viewer: Viewer) -> tuple[JobRow, ...]:
    """Return every job, in the order in which they were opened."""
    return tuple(job_row(view, job, viewer) for job in view.state.jobs.values())


def job_row(view: View, job: Job, viewer: Viewer) -> JobRow:
    """Return one job as `viewer` sees it."""
    acts, (blocked, overrules) = acts_on(view, job, viewer), blocks_on(view.state, job)
    return JobRow(
        job=job.job,
        stage=job.stage,
        reel=job.reel,
        standing=fill_of(job),
        is_over=job.is_over,
        is_automatic=stage_of(view.state, job).is_automatic,
        holder=job.claim.site if job.claim else job.holder,
        epoch=job.claim.epoch if job.claim else None,
        opened=job.opened,
        since=job.since,
        until=job.claim.until if job.claim else None,
        prefers=job.prefers,
        inputs=tuple(name for name in job.inputs if name in view.state.versions),
        frames=job.frames,
        outcome=job.outcome,
        note=job.note,
        asked=job.asked,
        offer=_offer(job.offer) if job.offer else None,
        hand_ons=tuple(_offer(each) for each in job.hand_ons),
        returns=tuple(
            ReturnRow(version=each.version, by=each.by, entry=each.entry, reasons=each.reasons) for each in job.returns
        ),
        late=job.late,
        move=move_of(view, job),
        mind=lateness.warnings_of(view.state, job, view.now),
        is_late=lateness.is_late(view.state, job, view.now),
        seen=seen(job),
        acts=acts,
        blocked=blocked,
        overrules=overrules,
        successors=successors(view, job) if acts else (),
    )


def _offer(offer: Offer) -> OfferRow:
    return OfferRow(
        to=offer.to,
        entry=offer.entry,
        done=offer.done,
        left=offer.left,
        faults=offer.faults,
        frames=offer.frames,
        version=offer.version,
    )
