"""What the people at a site should be told: work came, is due, is late, was returned, was refused. Pure.

Each notice has a name of its own that never changes, so that whoever delivers it knows which were delivered.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Literal, NamedTuple

from relay.ledger import lateness, route
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.owed import first_asked
from relay.ledger.state import State

Kind = Literal[
    "arrived", "offered", "due", "late", "returned", "refused", "stopped", "not sent", "came late", "day ends"
]


class Notice(NamedTuple):
    """One thing to tell, once."""

    name: str
    kind: Kind
    text: str
    """A sentence with what to do."""


def notices_for(state: State, site: str, now: datetime) -> list[Notice]:
    """Return everything that `site` should have been told by `now`, whether or not it was told already."""
    is_coordinator = state.film().coordinator == site
    told = [notice for job in state.jobs.values() for notice in _about_job(state, job, site, is_coordinator, now)]
    said = [*told, *_refusals(state, site, is_coordinator), *_not_sent(state, site, is_coordinator)]
    return [*said, *_not_begun(state, now)] if is_coordinator else said


def _about_job(state: State, job: Job, site: str, is_coordinator: bool, now: datetime) -> Iterator[Notice]:
    held = job.claim is not None and job.claim.site == site
    asked = job.standing is Standing.OPEN and first_asked(state, job) == site
    if asked and job.inputs and all(_is_here(state, version, site) for version in job.inputs):
        yield Notice(
            f"arrived {job.job} {job.given} {len(job.returns)}",
            "arrived",
            f"{', '.join(job.inputs)} has arrived whole for {job.job}: `relay claim {job.job}`",
        )
    if job.offer and job.offer.to == site:
        yield Notice(
            f"offered {job.job} {job.offer.entry}",
            "offered",
            f"{job.job} is offered to you. Done: {job.offer.done}. Left: {job.offer.left}. "
            f"To go on: `relay hand-on {job.job} --take`",
        )
    yield from _to_accept(state, job, site)
    if held or asked or is_coordinator or site in stage_of(state, job).accepted_by:
        yield from _about_due(state, job, now)
    if lateness.is_slow(state, job, now) and (held or asked or is_coordinator):
        since = job.claim.epoch if job.claim else f"{job.waiting_since:%Y%m%dT%H%M%S}"
        yield Notice(f"late {job.job} {since}", "late", f"{job.job}: {lateness.warnings_of(state, job, now)[0]}")
    if job.returns and job.standing is Standing.OPEN and job.prefers == site:
        back = job.returns[-1]
        yield Notice(
            f"returned {job.job} {back.entry}", "returned", f"{back.version} was returned by {back.by}: {back.reasons}"
        )
    if held:
        yield from _returned_under(job)
    if is_coordinator:
        yield from _came_late(state, job)
    if job.standing is Standing.STOPPED and is_coordinator:
        yield Notice(
            f"stopped {job.job} {len(job.past)}",
            "stopped",
            f"{job.job}: {lateness.warnings_of(state, job, now)[0]}. `relay restart {job.job}` when it is mended",
        )


def _came_late(state: State, job: Job) -> Iterator[Notice]:
    """Tell of work that a former holder sent, so that somebody looks which of the two is better."""
    for version in job.late:
        beside = f": `relay reel compare {job.outcome} {version}`" if job.outcome else ""
        yield Notice(
            f"came late {job.job} {version}",
            "came late",
            f"{state.versions[version].by} sent {version} for {job.job} after its claim was over. It is kept, "
            f"unaccepted{beside}",
        )


def _returned_under(job: Job) -> Iterator[Notice]:
    """Tell whoever holds a job that what it was begun with came back: a claimed job is given no new inputs."""
    for version in job.stands_on_returned:
        yield Notice(
            f"returned {job.job} {job.claim.epoch if job.claim else 0} {version}",
            "returned",
            f"{version} was returned, and your job {job.job} stands on it. Ask the coordinator whether to go on; "
            f"`relay release {job.job}` gives it back, to be opened with what is made anew",
        )


def _to_accept(state: State, job: Job, site: str) -> Iterator[Notice]:
    """Tell whom the stage names as its acceptor that something waits for its word; the coordinator reads the list."""
    stage = stage_of(state, job)
    if job.standing is not Standing.HANDED_IN or job.outcome is None or site not in stage.accepted_by:
        return
    if route.is_received(state, stage, job.outcome):
        due = f" by {due:%Y-%m-%d %H:%M} UTC" if (due := state.film().due(stage)) else ""
        yield Notice(
            f"to accept {job.job} {job.outcome}",
            "arrived",
            f"{job.outcome} has arrived whole for {job.job}. Look at it{due}; then "
            f"`relay accept {job.job} --note WHAT`, or `relay return {job.job} --reasons WHY`",
        )


def _about_due(state: State, job: Job, now: datetime) -> Iterator[Notice]:
    due = lateness.due_of(state, job)
    if due is None:
        return
    if lateness.is_overdue(state, job, now):
        text = f"{job.job} was due {due:%Y-%m-%d %H:%M} UTC and is not accepted: it is {job.standing}"
        yield Notice(f"overdue {job.job} {due:%Y-%m-%d}", "late", text)
    elif lateness.is_due_soon(state, job, now):
        text = f"{job.job} is due {due:%Y-%m-%d %H:%M} UTC: it is {job.standing}"
        yield Notice(f"due {job.job} {due:%Y-%m-%d}", "due", text)


def _not_begun(state: State, now: datetime) -> Iterator[Notice]:
    for each in lateness.not_open_yet(state, now):
        kind: Kind = "late" if now > each.due else "due"
        word = "overdue" if now > each.due else "due"
        yield Notice(f"{word} {each.job} {each.due:%Y-%m-%d}", kind, f"{each.job}: {each.told(now)}")


def _is_here(state: State, version: str, site: str) -> bool:
    named = state.version(version)
    return named.by == site or any(receipt.site == site and receipt.whole for receipt in named.receipts)


def _not_sent(state: State, site: str, is_coordinator: bool) -> Iterator[Notice]:
    for each in state.kept if is_coordinator else state.kept_at(site):
        yield Notice(
            f"not sent {each.site} {each.folder} {each.entry}",
            "not sent",
            f"{each.folder} lies in {each.site}'s to-send/ and was not sent: {each.why}. A note beside it says more",
        )


def _refusals(state: State, site: str, is_coordinator: bool) -> Iterator[Notice]:
    for version in state.versions.values():
        if not version.receipts:
            continue
        last = version.receipts[-1]
        if not last.whole and (is_coordinator or site in {version.by, last.site}):
            yield Notice(
                f"refused {version.name} {last.entry}",
                "refused",
                f"{last.site} refused {version.name}: {last.faults_in_all} bad files, see entry {last.entry}",
            )
