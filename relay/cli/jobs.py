"""`relay jobs` and what people say about them: claim, extend, release, hand-on, accept, return, withdraw."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.typed import Reason, ReelText
from relay.errors import LostRaceError, RefusedError
from relay.ledger import lateness, work
from relay.ledger.entry import Entry
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import HandOnOffered
from relay.ledger.state import KeptFolder, State
from relay.model import VersionName
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import parse_frames, parse_moment

JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="Which job: scan/A/R03, as `relay jobs` lists it.")]


def jobs(
    context: typer.Context,
    mine: Annotated[
        bool, typer.Option("--mine", help="Those this site holds, is offered, is asked first for, or is to accept.")
    ] = False,
    open_only: Annotated[bool, typer.Option("--open", help="Those that nobody holds.")] = False,
    late: Annotated[bool, typer.Option("--late", help="Those not claimed, finished or accepted in time.")] = False,
    stage: Annotated[str | None, typer.Option(metavar="STAGE", help="Only those at this stage.")] = None,
    reel: Annotated[str | None, typer.Option(metavar="REEL", help="Only those on this reel.")] = None,
    over: Annotated[bool, typer.Option("--all", help="Those that are over, too.")] = False,
    as_json: AsJson = False,
) -> None:
    """List the jobs and who has the next move.

    For each: how it stands, who holds it, since when and until when, and what to mind.
    """
    with open_desk(context.obj) as desk:
        state, now = desk.ledger.follow(), desk.now()
    shown = [
        job
        for job in state.jobs.values()
        if (over or not job.is_over)
        and (not mine or _is_mine(state, job, desk.site))
        and (not open_only or job.standing is Standing.OPEN)
        and (not late or lateness.is_late(state, job, now))
        and (stage is None or job.stage == stage)
        and (reel is None or job.reel == reel)
    ]
    waiting = [
        each
        for each in ([] if mine or open_only else lateness.not_open_yet(state, now))
        if (not late or now > each.due)
        and (stage is None or each.stage == stage)
        and (reel is None or each.reel == reel)
    ]
    facts = {
        "jobs": [_facts(state, job, now) for job in shown],
        "not_open_yet": [{**each._asdict(), "due": each.due.isoformat(), "mind": each.told(now)} for each in waiting],
        "not_sent": not_sent(state.kept),
    }
    rows = [_row(state, job, now) for job in shown]
    rows += [(each.job, "not open yet", "", "", "", "", each.told(now)) for each in waiting]
    answer(facts, as_json=as_json, show=lambda page: _show_jobs(page, rows, state))


def _show_jobs(page: Page, rows: list[tuple[str, ...]], state: State) -> None:
    page.table(("job", "standing", "who", "since (UTC)", "until (UTC)", "takes", "mind"), rows)
    show_not_sent(page, state.kept)


def not_sent(kept: Sequence[KeptFolder]) -> list[dict[str, object]]:
    """Return the folders in sites' to-send/ that wait for a person, as scripts read them."""
    return [
        {"site": each.site, "folder": each.folder, "since": each.time.isoformat(), "why": each.why, "entry": each.entry}
        for each in kept
    ]


def show_not_sent(page: Page, kept: Sequence[KeptFolder]) -> None:
    """Show the folders in sites' to-send/ that wait for a person."""
    for each in kept:
        since = f"since {each.time:%Y-%m-%d %H:%M} UTC"
        page.line(f" {each.folder} in {each.site}'s to-send/, {since}: {each.why}.", head="Not sent:")


def _is_mine(state: State, job: Job, site: str) -> bool:
    held, offered = job.claim is not None and job.claim.site == site, job.offer is not None and job.offer.to == site
    to_accept = job.standing is Standing.HANDED_IN and site in stage_of(state, job).accepted_by
    return held or offered or to_accept or (job.standing is Standing.OPEN and job.prefers == site)


def _who(job: Job) -> str:
    if job.claim:
        return job.claim.site + (f", offered to {job.offer.to}" if job.offer else "")
    if job.standing is Standing.OPEN:
        return f"{job.prefers} first" if job.prefers else ""
    return job.holder or ""


def _row(state: State, job: Job, now: datetime) -> tuple[str, ...]:
    until = job.claim.until if job.claim else None
    return (
        job.job,
        job.standing,
        _who(job),
        f"{job.since:%Y-%m-%d %H:%M}",
        f"{until:%Y-%m-%d %H:%M}" if until else "",
        ", ".join(job.inputs),
        "; ".join(lateness.warnings_of(state, job, now)) or (job.reason if job.is_over else ""),
    )


def _facts(state: State, job: Job, now: datetime) -> dict[str, object]:
    return {
        "job": job.job,
        "stage": job.stage,
        "reel": job.reel,
        "standing": job.standing,
        "holder": job.claim.site if job.claim else job.holder,
        "epoch": job.claim.epoch if job.claim else None,
        "offered_to": job.offer.to if job.offer else None,
        "prefers": job.prefers,
        "planned": job.begins.isoformat() if job.begins else None,
        "since": job.since.isoformat(),
        "until": job.claim.until.isoformat() if job.claim and job.claim.until else None,
        "inputs": list(job.inputs),
        "frames": [[each.first, each.last] for each in job.frames],
        "outcome": job.outcome,
        "due": due.isoformat() if (due := lateness.due_of(state, job)) else None,
        "note": job.note,
        "reason": job.reason,
        "returns": [{"version": each.version, "by": each.by, "reasons": each.reasons} for each in job.returns],
        "mind": list(lateness.warnings_of(state, job, now)),
    }


def _say(context: typer.Context, name: str, as_json: bool, said: Callable[[Desk], Entry | None]) -> None:
    """Say one thing about a job, and tell how the job stands now."""
    with open_desk(context.obj) as desk:
        entry, job = work.settled(desk.ledger, desk.pen, name, lambda: said(desk))
        facts = {"entry": entry.sequence if entry else None, **_facts(desk.ledger.state, job, desk.now())}
    answer(facts, as_json=as_json, show=lambda page: _show_said(page, job, entry))


def _show_said(page: Page, job: Job, entry: Entry | None) -> None:
    by = f", {_who(job)}" if _who(job) else ""
    until = f", until {job.claim.until:%Y-%m-%d %H:%M} UTC" if job.claim and job.claim.until else ""
    page.line(
        f"{job.job} is {job.standing}{by}{until}; " + (f"entry {entry.sequence}." if entry else "that was so before.")
    )


def local_time(context: typer.Context, text: str) -> datetime:
    """Return the instant that a person at this site means by `2027-01-09T17:00`. Raises RefusedError."""
    with open_desk(context.obj) as desk:
        site = desk.ledger.follow().film().site(desk.site)
    return parse_moment(text, site.zone if site else "UTC")


def claim(
    context: typer.Context,
    job: JobArgument,
    until: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="Until when you mean to be done, in your own time, such as 2027-01-09T17:00.",
            show_default="what the stage allows",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take a free job. Its reel arrives in arrived/; drop the result in to-send/."""
    instant = local_time(context, until) if until else None
    _say(context, job, as_json, lambda desk: work.claim(desk.ledger, desk.pen, job, instant))


def extend(
    context: typer.Context,
    job: JobArgument,
    until: Annotated[str, typer.Option(metavar="TIME", help="Until when, in your own time, such as 2027-01-09T17:00.")],
    as_json: AsJson = False,
) -> None:
    """Say that you need until another time."""
    instant = local_time(context, until)
    _say(context, job, as_json, lambda desk: work.extend(desk.ledger, desk.pen, job, instant))


def release(context: typer.Context, job: JobArgument, reason: Reason, as_json: AsJson = False) -> None:
    """Give a job back undone, so that another site can take it."""
    _say(context, job, as_json, lambda desk: work.release(desk.ledger, desk.pen, job, reason))


def hand_on(
    context: typer.Context,
    job: JobArgument,
    to: Annotated[str | None, typer.Option(metavar="SITE", help="The site that is asked to go on.")] = None,
    done: Annotated[str | None, typer.Option(metavar="TEXT", help="What is done.")] = None,
    left: Annotated[str | None, typer.Option(metavar="TEXT", help="What is left to do.")] = None,
    faults: Annotated[str, typer.Option(metavar="TEXT", help="Known faults.")] = "",
    frames: Annotated[
        str | None, typer.Option(metavar="FRAMES", help="The frames that were touched, such as 10-20,35.")
    ] = None,
    version: Annotated[str | None, typer.Option(metavar="VERSION", help="The work so far, sent as a version.")] = None,
    take: Annotated[bool, typer.Option("--take", help="Go on with a job that is offered to you.")] = False,
    decline: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Do not, and why; or take your own offer back.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Hand a job on to a site whose day begins.

    Offer it with --to, and say where you are; the other site answers with --take or --decline.
    """
    if (to is not None) + take + (decline is not None) != 1:
        raise RefusedError("say one thing: --to SITE to offer the job, --take to go on with it, or --decline WHY")
    if take:
        _say(context, job, as_json, lambda desk: work.take(desk.ledger, desk.pen, job))
        return
    if to is None:
        _say(context, job, as_json, lambda desk: work.decline(desk.ledger, desk.pen, job, decline or ""))
        return
    if not done or not left:
        raise RefusedError("whoever goes on must know where you are: say --done WHAT and --left WHAT")
    draft = HandOnOffered(
        job=job if job.count("/") > 2 else f"{job}/1",
        epoch=1,
        to=to,
        done=done,
        left=left,
        faults=faults,
        frames=parse_frames(frames) if frames else (),
        version=VersionName(version) if version else None,
    )
    _say(context, job, as_json, lambda desk: work.offer(desk.ledger, desk.pen, job, draft))


def accept(
    context: typer.Context,
    job: JobArgument,
    note: Annotated[str, typer.Option(metavar="TEXT", help="What should be remembered.")] = "",
    despite: Annotated[
        bool, typer.Option("--despite", help="Although something blocks it, or nobody looked; --note says why.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Say that the outcome of a job is good. For the coordinator, and for sites that the stage names."""
    _say(context, job, as_json, lambda desk: work.accept(desk.ledger, desk.pen, job, note, despite=despite))


def give_back(
    context: typer.Context,
    job: JobArgument,
    reasons: Annotated[str, typer.Option(metavar="TEXT", help="What is wrong, and where: frames, reel, shot.")],
    as_json: AsJson = False,
) -> None:
    """Return the outcome of a job, with reasons. Whatever stands on it is marked."""
    _say(context, job, as_json, lambda desk: work.give_back(desk.ledger, desk.pen, job, reasons))


def withdraw(context: typer.Context, job: JobArgument, reason: Reason, as_json: AsJson = False) -> None:
    """Say that a job is not wanted any more. For the coordinator."""
    _say(context, job, as_json, lambda desk: work.withdraw(desk.ledger, desk.pen, job, reason))


def reassign(
    context: typer.Context,
    job: JobArgument,
    reason: Reason,
    to: Annotated[
        str | None,
        typer.Option(metavar="SITE", help="The site that is asked instead.", show_default="whoever comes first"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take a job from its holder, or ask another site.

    For the coordinator, also for a job that is still to open. A holder's late work is still kept; what a person asked,
    with a reason, no plan changes.
    """
    with open_desk(context.obj) as desk:
        ahead = work.to_come(desk.ledger.follow(), job)
        entry = work.reassign(desk.ledger, desk.pen, ahead, to, reason) if ahead else None
    if ahead is None:
        _say(context, job, as_json, lambda desk: work.reassign(desk.ledger, desk.pen, job, to, reason))
        return
    said = f"entry {entry.sequence}." if entry else "that was so before."
    facts = {"entry": entry.sequence if entry else None, "job": ahead, "standing": "to come", "expected": to}
    sentence = f"{ahead} is still to open; {to or 'whoever comes first'} is expected to take it; {said}"
    answer(facts, as_json=as_json, show=lambda page: page.line(sentence))


def restart(context: typer.Context, job: JobArgument, reason: Reason, as_json: AsJson = False) -> None:
    """Let a stopped automatic job be tried again. For the coordinator."""
    _say(context, job, as_json, lambda desk: work.restart(desk.ledger, desk.pen, job, reason))


def ask(
    context: typer.Context,
    stage: Annotated[str, typer.Argument(metavar="STAGE", help="The stage of the route.")],
    reel: ReelText,
    reason: Reason,
    frames: Annotated[
        str | None,
        typer.Option(metavar="FRAMES", help="Only these frames, such as 10-20,35.", show_default="the whole reel"),
    ] = None,
    takes: Annotated[
        list[str] | None,
        typer.Option(
            metavar="VERSION", help="The version to work on; may be given more than once.", show_default="the newest"
        ),
    ] = None,
    prefers: Annotated[str | None, typer.Option(metavar="SITE", help="The site that is asked first.")] = None,
    as_json: AsJson = False,
) -> None:
    """Ask for work beside the route's own.

    Such as a second pass on one shot. For the coordinator.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        named = state.reel(reel)
        inputs = tuple(state.version(each).name for each in takes or [named])
        asked = parse_frames(frames) if frames else ()
        entry = work.ask(desk.ledger, desk.pen, stage, named, inputs, asked, prefers, reason)
        job = work.asked_for(desk.ledger.state, stage, named, (inputs, asked, reason))
        if job is None:
            raise LostRaceError(f"what was asked for on {named} at {stage} was handed in meanwhile: look again")
    answer(
        _facts(desk.ledger.state, job, desk.now()),
        as_json=as_json,
        show=lambda page: _show_said(page, job, entry),
    )
