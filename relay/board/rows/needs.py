"""What needs someone, the costliest first. Pure.

The order is that of what an hour's delay costs: a refused arrival holds up everybody behind it; work that nobody took
or finished comes next; then what was returned, repairs of stored copies, loans, silence.
"""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from enum import IntEnum

from relay.board.rows.moves import move_of
from relay.board.rows.reels import is_bad_in_store, is_refused, newest_receipts
from relay.board.rows.view import View
from relay.ledger import lateness, owed
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.left import to_judge
from relay.ledger.state import Version
from relay.model import Frozen, ReelName, VersionName, reel_of
from relay.wording import count, in_words, span_in_words

LOAN_NOTICE = timedelta(days=30)
"""How long before a loan is due back somebody should pack. Common practice: a transport of nitrate takes weeks."""

RECEIPT_PATIENCE = timedelta(hours=2)
"""A worker receives within minutes; after this it is silent, or its line is down."""


JUST_AFTER = timedelta(hours=3)
"""Work that lands so soon after closing could have been caught: it waits a night for these minutes."""


class Cost(IntEnum):
    """The lower, the sooner somebody should get up."""

    BROKEN = 0
    REFUSED = 1
    NOT_SENT = 2
    STOPPED = 3
    NOT_CLAIMED = 4
    NOT_FINISHED = 5
    LANDS_LATE = 6
    RETURNED = 7
    STANDS_ON_RETURNED = 8
    REPAIR = 9
    LOOK = 10
    OFFERED = 11
    LOAN = 12
    SILENT = 13
    STALE = 14


MARKS = {
    Cost.BROKEN: "broken",
    Cost.REFUSED: "refused",
    Cost.NOT_SENT: "not sent",
    Cost.STOPPED: "stopped",
    Cost.NOT_CLAIMED: "not claimed in time",
    Cost.NOT_FINISHED: "not finished in time",
    Cost.LANDS_LATE: "lands after closing",
    Cost.RETURNED: "returned",
    Cost.STANDS_ON_RETURNED: "stands on returned work",
    Cost.REPAIR: "bad in the store",
    Cost.LOOK: "needs a look",
    Cost.OFFERED: "offered",
    Cost.LOAN: "loan due",
    Cost.SILENT: "silent",
    Cost.STALE: "stale",
}
"""What each is called on the page: a word, never a colour alone."""


class Need(Frozen):
    """One thing that needs someone."""

    cost: Cost
    mark: str
    title: str
    """What is the matter, as a sentence."""
    says: str
    """What to do about it."""
    who: str | None
    """The site that has the move."""
    since: datetime | None = None
    reel: ReelName | None = None
    job: str | None = None
    entry: int | None = None


def needs_of(view: View) -> tuple[Need, ...]:
    """Return everything that needs someone now, the costliest first, the oldest first among equals."""
    found = [*_stale(view), *_versions(view), *_folders(view), *_jobs(view), *_left(view), *_landing(view)]
    found += _loans(view)
    return tuple(sorted(found, key=lambda need: (need.cost, need.since or view.now, need.job or need.title)))


def _need(cost: Cost, title: str, says: str, who: str | None, **where: object) -> Need:
    return Need.model_validate({"cost": cost, "mark": MARKS[cost], "title": title, "says": says, "who": who, **where})


def _stale(view: View) -> Iterator[Need]:
    if view.stale_since is not None:
        silent = span_in_words(view.now - view.stale_since)
        yield _need(
            Cost.STALE,
            f"The store has not answered for {silent}",
            f"What is shown is what was known at entry {view.state.sequence}. Look at the line to the store.",
            None,
            since=view.stale_since,
        )


def _versions(view: View) -> Iterator[Need]:
    taken = {name for job in view.state.jobs.values() if not job.is_over for name in (*job.inputs, job.outcome)}
    for version in view.state.versions.values():
        if _is_whole(version):
            continue
        matters = version.name in taken or view.state.newest[reel_of(version.name)] == _number(version)
        if matters and is_refused(view, version):
            yield _refused(view, version)
        elif is_bad_in_store(view, version):
            yield _need(
                Cost.REPAIR,
                f"{version.name} has gone bad in the store",
                f"`relay mend {version.name} FOLDER` puts a good copy in its place; "
                f"`relay copies {version.name}` says where one is.",
                next((site.name for site in view.film.sites if site.mends), view.film.coordinator),
                reel=reel_of(version.name),
                since=max(each.time for each in version.checks) if version.checks else version.time,
            )


def _is_whole(version: Version) -> bool:
    """Answer whether nobody found anything wrong with `version`: of most, and quickly."""
    for receipt in version.receipts:
        if receipt.faults or not receipt.whole:
            return False
    return not any(check.faults for check in version.checks)


def _number(version: Version) -> int:
    return int(version.name.rpartition("/v")[2])


def _refused(view: View, version: Version) -> Need:
    bad = [receipt for receipt in newest_receipts(version).values() if not receipt.whole]
    worst = max(bad, key=lambda receipt: receipt.entry)
    first = f": {worst.faults[0].path} is {worst.faults[0].what}" if worst.faults else ""
    in_store = any(fault.where == "bucket" for fault in worst.faults)
    mend = f"mend it from a good copy (`relay mend {version.name} FOLDER`)" if in_store else "the site fetches it again"
    return _need(
        Cost.REFUSED,
        f"{view.title_of(worst.site)} refused {version.name}, {count(worst.faults_in_all, 'bad file')}{first}",
        f"Nothing good was touched. {mend[0].upper()}{mend[1:]}, or {view.title_of(version.by)} sends it anew.",
        version.by,
        since=worst.time,
        reel=reel_of(version.name),
        entry=worst.entry,
    )


def _folders(view: View) -> Iterator[Need]:
    for each in view.state.kept:
        yield _need(
            Cost.NOT_SENT,
            f"{each.folder} lies in {view.title_of(each.site)}'s to-send/ and was not sent: {each.why}",
            "A note beside the folder says more.",
            each.site,
            since=each.time,
            entry=each.entry,
        )


def _jobs(view: View) -> Iterator[Need]:
    for job in view.state.jobs.values():
        if job.stands_on_returned and job.standing is not Standing.WITHDRAWN:
            yield _of_job(
                view,
                job,
                Cost.STANDS_ON_RETURNED,
                f"{_capital(work_in_words(job))} stands on {_named(view, job.stands_on_returned)}, which came back",
                "Decide whether it must be done again.",
                who=view.film.coordinator,
            )
        if job.is_over:
            continue
        yield from _waiting(view, job)
        yield from _held(view, job)


def work_in_words(job: Job) -> str:
    """Return what people call a job: `the scan of A/R04`, `pass 2 of the scan of A/R04`."""
    number = job.job.rpartition("/")[2]
    return f"the {job.stage} of {job.reel}" if number == "1" else f"pass {number} of the {job.stage} of {job.reel}"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _named(view: View, names: tuple[VersionName, ...]) -> str:
    return ", ".join(name if name in view.state.versions else "another reel's version" for name in names)


def _of_job(view: View, job: Job, cost: Cost, title: str, says: str, *, who: str | None = None) -> Need:
    move = move_of(view, job)
    return _need(cost, title, says, who or (move.site if move else None), since=job.since, reel=job.reel, job=job.job)


def _waiting(view: View, job: Job) -> Iterator[Need]:
    state, stage = view.state, stage_of(view.state, job)
    if job.standing is Standing.STOPPED:
        warning = next((word for word in lateness.warnings_of(state, job, view.now) if "stopped" in word), "stopped")
        yield _of_job(
            view,
            job,
            Cost.STOPPED,
            f"{_capital(work_in_words(job))} {warning}",
            "Mend what stopped it, then restart it.",
        )
    if job.standing is Standing.OPEN and lateness.is_late(state, job, view.now):
        open_for = span_in_words(view.now - job.since)
        asked = owed.first_asked(state, job)
        who = f"{view.title_of(asked)} is asked first." if asked else "No site on the roster does this stage."
        who += f" It came back: {job.returns[-1].reasons}" if job.returns else ""
        text = f"Nobody has taken {work_in_words(job)}, open for {open_for}; {stage.claim_within_hours} h were meant"
        yield _of_job(view, job, Cost.NOT_CLAIMED, text, who)
    elif job.returns and job.standing is Standing.OPEN:
        back = job.returns[-1]
        text = f"{back.version} came back from {view.title_of(back.by)}: {back.reasons}"
        yield _of_job(view, job, Cost.RETURNED, text, "Somebody must take it again.")
    waited = view.now - job.since
    if job.standing is Standing.HANDED_IN and waited > _patience(view, job) and not _is_spoken_of(view, job):
        receiver = view.title_of(owed.receiver_of(state, job))
        text = f"{receiver} has not received {job.outcome} after {span_in_words(waited)}"
        yield _of_job(view, job, Cost.SILENT, text, f"See whether the worker at {receiver} runs.")


def _patience(view: View, job: Job) -> timedelta:
    """Return how long a receipt may take: twice what the line needs, and some time to notice."""
    lands = view.lands.get((job.outcome, owed.receiver_of(view.state, job))) if job.outcome else None
    return RECEIPT_PATIENCE + (2 * max(lands - view.now, timedelta()) if lands else timedelta())


def _is_spoken_of(view: View, job: Job) -> bool:
    return job.outcome is not None and bool(view.state.versions[job.outcome].receipts)


def _held(view: View, job: Job) -> Iterator[Need]:
    if job.claim is None:
        return
    holder = view.title_of(job.claim.site)
    if job.claim.until and view.now > job.claim.until:
        over = span_in_words(view.now - job.claim.until)
        text = f"{holder} meant to finish {work_in_words(job)} {over} ago"
        yield _of_job(view, job, Cost.NOT_FINISHED, text, "Ask them, extend the claim, or reassign it with a reason.")
    if job.offer:
        to = view.title_of(job.offer.to)
        text = f"{holder} offers {work_in_words(job)} to {to}: {job.offer.left}"
        yield _of_job(view, job, Cost.OFFERED, text, f"{to} answers: go on with it, or decline.")
    if job.job in view.silent:
        silent = span_in_words(timedelta(seconds=view.silent[job.job]))
        text = f"The machine at {holder} that does {work_in_words(job)} has been silent for {silent}"
        yield _of_job(view, job, Cost.SILENT, text, "Its claim lapses by itself; see whether the worker runs.")


def _landing(view: View) -> Iterator[Need]:
    for (version, site), lands in view.lands.items():
        spans = view.shifts.get(site, ())
        closed = [span.end for span in spans if span.end <= lands]
        if version not in view.state.versions or not closed or any(span.start <= lands < span.end for span in spans):
            continue
        after = lands - max(closed)
        if after <= JUST_AFTER:
            opens = next((span.start for span in spans if span.start > lands), None)
            lost = f"; they open again in {span_in_words(opens - lands)}" if opens else ""
            yield _need(
                Cost.LANDS_LATE,
                f"{version} lands at {view.title_of(site)} {span_in_words(after)} after closing",
                f"Send it ahead of other things, or let another site go on{lost}.",
                view.state.versions[version].by,
                since=lands,
                reel=reel_of(version),
            )


def _left(view: View) -> Iterator[Need]:
    for each in to_judge(view.state):
        if each.version in view.state.versions:
            where = f" in {in_words(each.flagged, 4)}" if each.flagged else ""
            kept = (
                "seems to have lost what is left as it is"
                if each.flagged
                else "waits for a yes to what is left as it is"
            )
            yield _need(
                Cost.LOOK,
                f"{each.version} {kept}{where}",
                "Look at the crops on the reel's page, then say whether it is still there.",
                view.film.coordinator,
                since=each.time,
                reel=reel_of(each.version),
                entry=each.entry,
            )


def _loans(view: View) -> Iterator[Need]:
    for element in view.film.elements:
        if element.loan is None:
            continue
        due = datetime.combine(element.loan.due_back, time(), tzinfo=view.now.tzinfo)
        if view.now + LOAN_NOTICE < due:
            continue
        left = due - view.now
        when = f"is due back in {span_in_words(left)}" if left > timedelta() else f"was due back on {due:%-d %B %Y}"
        yield _need(
            Cost.LOAN,
            f"Element {element.code}, {element.title}, {when}, at {element.holder}",
            "Agree on its way home with the archive. Nitrate travels only as local codes and licensed carriers allow."
            if element.base == "nitrate"
            else "Agree on its way home with the archive.",
            view.film.coordinator,
            since=due,
        )
