"""What may be said about a job from the page, by whom, and what the page had seen when it offered that. Pure.

The ledger decides in the end; this only keeps buttons away that it would refuse.
"""

from collections.abc import Iterator
from typing import Literal

from relay.board.rows.view import View, Viewer
from relay.ledger import route
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State
from relay.wording import count

ActName = Literal[
    "claim", "extend", "release", "hand-on", "take", "decline", "accept", "return", "reassign", "restart", "withdraw"
]


def seen(job: Job) -> str:
    """Return what tells this moment in the life of `job` from every other: what a button was offered for."""
    claim = job.claim
    parts = (
        job.standing.value.replace(" ", "-"),
        str(claim.epoch) if claim else "",
        f"{claim.until:%Y%m%d%H%M%S}" if claim and claim.until else "",
        str(job.offer.entry) if job.offer else "",
        str(len(job.past)),
        str(len(job.returns)),
        job.outcome or "",
    )
    return ".".join(parts)


def blocks_on(state: State, job: Job) -> tuple[tuple[str, ...], str]:
    """Return what keeps the outcome of `job` from being accepted unless a person overrules it, and what tells that
    from whatever is found later. Nothing: it can be accepted.
    """
    if job.standing is not Standing.HANDED_IN or job.outcome is None:
        return (), ""
    made, words, found = state.versions[job.outcome], [], []
    for looked in made.inspections[-1:]:
        if looked.blocking:
            words.append(f"{looked.site} looked at {made.name}, and {blocking_in_words(looked.blocking)}")
        found.append(f"looked-{looked.entry}")
    for held in made.conforms[-1:]:
        if held.blocking:
            words.append(f"{made.name} lies otherwise than its cut list in {count(held.blocking, 'finding')}")
        found.append(f"held-{held.entry}")
    if not made.inspections and stage_of(state, job).inspected:
        words.append(f"nobody looked at {made.name} yet")
    return tuple(words), ".".join((made.name, *found)) if words else ""


def blocking_in_words(number: int, of: str = "") -> str:
    """Return how many findings keep a version from being accepted."""
    return f"{count(number, 'finding')}{of} {'blocks' if number == 1 else 'block'} it"


def acts_on(view: View, job: Job, viewer: Viewer) -> tuple[ActName, ...]:
    """Return what `viewer` may say about `job` now, the likeliest first."""
    return tuple(_acts(view, job, viewer.site)) if viewer.may_act and viewer.site else ()


def _acts(view: View, job: Job, site: str) -> Iterator[ActName]:
    yield from _judging(view, job, site)
    yield from _holding(view, job, site)
    if site != view.film.coordinator:
        return
    if job.claim:
        yield "reassign"
    if job.standing is Standing.STOPPED:
        yield "restart"
    if not job.is_over:
        yield "withdraw"


def _judging(view: View, job: Job, site: str) -> Iterator[ActName]:
    if site != view.film.coordinator and site not in stage_of(view.state, job).accepted_by:
        return
    if job.standing is Standing.HANDED_IN and job.outcome:
        is_own = job.holder == site and site != view.film.coordinator  # nobody accepts their own work
        if route.has_arrived(view.state, job.outcome) and not is_own:
            yield "accept"
        yield "return"
    elif job.standing is Standing.ACCEPTED:
        yield "return"


def _holding(view: View, job: Job, site: str) -> Iterator[ActName]:
    worker, stage = view.film.site(site), stage_of(view.state, job)
    able = worker is not None and job.stage in worker.stages and view.state.has_joined(site)
    if job.standing is Standing.OPEN and able and not stage.is_automatic:
        yield "claim"
    if job.offer and job.offer.to == site:
        yield "take"
        yield "decline"
    if job.claim is None or job.claim.site != site or job.claim.lease is not None:
        return
    yield "extend"
    if job.offer:
        yield "decline"
    elif stage.may_move and successors(view, job):
        yield "hand-on"
    yield "release"


def successors(view: View, job: Job) -> tuple[str, ...]:
    """Return the sites that `job` could be handed on to, or reassigned to."""
    holder = job.claim.site if job.claim else None
    sites = view.film.sites
    return tuple(
        each.name
        for each in sites
        if job.stage in each.stages and each.name != holder and view.state.has_joined(each.name)
    )
