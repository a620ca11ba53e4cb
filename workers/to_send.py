"""Watches `to-send/`: a folder that is finished is sent, never one that is still being filled.

Finished means: a file `NAME.finished` lies beside the folder `NAME`, or nothing in it changed for a while. Which reel
it is, its name says, `A_R03` or `A_R03 anything`, or a file `relay.toml` in it. What cannot be sent stays where it is,
with a note beside it that says why.
"""

import logging
import re
import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from relay.errors import RefusedError, RelayError, TransientError
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State
from relay.model import Frozen, Note, ReelName, ScanMap
from relay.settings import first_fault
from relay.transfer.desk import Desk
from relay.transfer.folder import survey
from relay.transfer.handover import Sending, Sent, send
from workers.places import Places, folder_name

LOG = logging.getLogger("relay.workers")

SLIP = "relay.toml"
FINISHED = ".finished"
PROBLEM = ".PROBLEM.txt"
_NAME = re.compile(r"([A-Za-z0-9-]+)_([A-Za-z0-9-]+)(?:[ _.].*)?")


class Slip(Frozen):
    """What a `relay.toml` in a package may say; what it leaves out, the folder's name and the ledger say."""

    reel: str | None = None
    job: str | None = None
    note: Note = ""
    for_next: Note = ""
    start_mark: Annotated[int, Field(ge=0)] | None = None
    start_frame: int = 0


def send_finished(desk: Desk, places: Places, settle: float) -> int:
    """Send every finished folder; returns how many. Needs a ledger that was just followed."""
    done = 0
    for folder in sorted(each for each in places.to_send.iterdir() if each.is_dir() and not each.name.startswith(".")):
        try:
            if _is_finished(folder, desk, settle):
                _send(desk, places, folder)
                done += 1
        except TransientError as error:
            LOG.warning("%s stays in to-send/ for now: %s", folder.name, error)
        except RelayError as error:
            _explain(folder, error)
    return done


def _is_finished(folder: Path, desk: Desk, settle: float) -> bool:
    if folder.with_name(folder.name + FINISHED).exists():
        return True
    files = survey(folder).files
    newest = max((stamp.ctime_ns for stamp in files.values()), default=None)
    return newest is not None and newest / 1e9 + settle < desk.clock.now().timestamp()


def _send(desk: Desk, places: Places, folder: Path) -> None:
    state = desk.ledger.state
    slip = _slip(folder)
    reel = _reel(state, folder, slip)
    mark = None if slip.start_mark is None else ScanMap.start_mark(slip.start_mark, slip.start_frame)
    job = slip.job or _job(state, reel, desk.site)
    sending = Sending(folder, reel, slip.note, scan_map=mark, may_grow=True, job=job, for_next=slip.for_next)
    sent = send(desk, sending)
    LOG.info("%s sent %s%s", desk.site, sent.version.name, f" for job {job}" if job else "")
    _put_away(desk, places, folder, sent)


def _slip(folder: Path) -> Slip:
    path = folder / SLIP
    if not path.exists():
        return Slip()
    try:
        return Slip.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(
            f"{SLIP} cannot be read: {first_fault(error)}. It may say reel, job, note and start_mark"
        ) from error


def _reel(state: State, folder: Path, slip: Slip) -> ReelName:
    if slip.reel:
        return state.reel(slip.reel)
    known = {folder_name(reel): reel for reel in state.film().reel_names()}
    found = _NAME.fullmatch(folder.name)
    reel = known.get(f"{found[1]}_{found[2]}") if found else None
    if reel is None:
        raise RefusedError(
            f"the folder {folder.name!r} names no reel of the production: expected one of {', '.join(sorted(known))} "
            f'at the start of its name, or a file {SLIP} in it that says reel = "ELEMENT/REEL"'
        )
    return reel


def _job(state: State, reel: ReelName, site: str) -> str | None:
    """Return the one job on `reel` that this site holds, or held last; None where it holds none."""
    held = [job.job for job in state.jobs.values() if job.reel == reel and job.claim and job.claim.site == site]
    if len(held) > 1:
        raise RefusedError(
            f'{site} holds {len(held)} jobs on {reel} ({", ".join(held)}): say which, in {SLIP}: job = "..."'
        )
    return held[0] if held else _held_last(state, reel, site)


def _held_last(state: State, reel: ReelName, site: str) -> str | None:
    over: list[tuple[int, Job]] = [
        (job.past[-1].epoch, job)
        for job in state.jobs.values()
        if job.reel == reel and job.past and job.past[-1].site == site and job.standing is not Standing.HANDED_IN
    ]
    waiting = [job for _, job in sorted(over, key=lambda pair: pair[0]) if job.outcome is None]
    return waiting[-1].job if waiting else None


def _put_away(desk: Desk, places: Places, folder: Path, sent: Sent) -> None:
    for beside in (FINISHED, PROBLEM):
        folder.with_name(folder.name + beside).unlink(missing_ok=True)
    place = places.sent / folder_name(sent.version.name)
    try:
        folder.rename(place)
    except OSError as error:
        raise RefusedError(
            f"{folder.name} is sent as {sent.version.name}, but cannot be moved to {place} ({error.strerror}): "
            "move it there yourself"
        ) from error
    desk.arrivals.note(place, sent.version.name, sent.version.manifest)


def _explain(folder: Path, error: RelayError) -> None:
    """Put a note beside the folder; the same note is not written twice."""
    LOG.error("%s was not sent: %s", folder.name, error)
    path = folder.with_name(folder.name + PROBLEM)
    text = (
        f"{folder.name} was not sent.\n\n{error}.\n\nNothing in it was touched. Mend that, and it is looked at again.\n"
    )
    try:
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
    except OSError:
        LOG.error("the note %s could not be written", path)  # noqa: TRY400  the reason was logged above
