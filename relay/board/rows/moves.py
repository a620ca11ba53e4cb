"""Who has the next move: on a job, and so on a reel. Pure."""

from datetime import datetime
from typing import Literal

from relay.board.rows.view import View
from relay.ledger import lateness, route
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.owed import first_asked, receiver_of
from relay.model import Frozen, ReelName

Doing = Literal["claim", "finish", "answer", "receive", "judge", "mend"]
"""What is waited for: a claim, the work, a yes or no to a hand-on, a receipt, an acceptance, a person's help."""


class Move(Frozen):
    """Whose turn it is."""

    job: str
    stage: str
    site: str | None
    """None: any site that does the stage."""
    does: Doing
    words: str
    """The same in a sentence without its full stop: `Tokyo grades it`."""
    since: datetime
    until: datetime | None = None
    is_late: bool = False


def move_of(view: View, job: Job) -> Move | None:
    """Return who has the next move on `job`, one of the view's; None when it is over."""
    if job.job not in view.moves:
        view.moves[job.job] = None if job.is_over else _move(view, job)
    return view.moves[job.job]


def _move(view: View, job: Job) -> Move:
    site, does, words = _turn(view, job)
    return Move(
        job=job.job,
        stage=job.stage,
        site=site,
        does=does,
        words=words,
        since=job.since,
        until=job.claim.until if job.claim else None,
        is_late=lateness.is_late(view.state, job, view.now),
    )


def _turn(view: View, job: Job) -> tuple[str | None, Doing, str]:
    state, title = view.state, view.title_of
    if job.standing is Standing.STOPPED:
        return view.film.coordinator, "mend", f"{job.stage} stopped; {title(view.film.coordinator)} must help"
    if job.claim and job.offer:
        to = job.offer.to
        return to, "answer", f"{title(job.claim.site)} offers {job.stage} to {title(to)}, who must answer"
    if job.claim:
        hand = "A machine at " if job.claim.lease is not None else ""
        return job.claim.site, "finish", f"{hand}{title(job.claim.site)} has it for {job.stage}"
    if job.outcome and job.standing is Standing.HANDED_IN:
        if not route.has_arrived(state, job.outcome):
            receiver = receiver_of(state, job)
            return receiver, "receive", f"{job.stage} is handed in; {title(receiver)} must receive it"
        return view.film.coordinator, "judge", f"{job.stage} is handed in; {_judges(view, job)} must judge it"
    asked = first_asked(state, job)
    return asked, "claim", f"{job.stage} is free; {title(asked)} is asked first" if asked else f"{job.stage} is free"


def _judges(view: View, job: Job) -> str:
    names = [view.film.coordinator, *stage_of(view.state, job).accepted_by]
    return " or ".join(view.title_of(name) for name in dict.fromkeys(names))


def moves_on(view: View, reel: ReelName) -> list[Move]:
    """Return every move that is open on `reel`, in the route's order."""
    found = (move_of(view, job) for job in route.jobs_on(view.state, reel))
    return [move for move in found if move is not None]
