"""Watches `to-send/`: a folder that is finished is sent, never one that is still being filled.

Finished means: a file `NAME.finished` lies beside the folder `NAME`, or nothing in it changed for a while and no file
in it bears a name that copying programs give to what is half there. Which reel it is, its name says, `A_R03` or `A_R03
anything`, or a file `relay.toml` in it, which does not travel. What cannot be sent stays where it is, with a note
beside it that says why.
"""

import logging
import os
import re
import tempfile
from pathlib import Path

from relay.errors import LostRaceError, RefusedError, RelayError, TransientError
from relay.ledger.job_state import Job
from relay.ledger.returned import made_by
from relay.ledger.state import State
from relay.ledger.words import KEPT_FOLDERS, FolderNotSent, FolderSettled, Word
from relay.media.names import OURS
from relay.model import ReelName, ScanMap
from relay.store.folder import in_our_words
from relay.transfer.desk import Desk
from relay.transfer.folder import survey
from relay.transfer.handover import Sending, Sent, send
from workers.places import folder_name
from workers.room import Room, StopWatch
from workers.slip import SLIP, Slip, slip_of

LOG = logging.getLogger("relay.workers")

FINISHED = ".finished"
PROBLEM = ".PROBLEM.txt"
NOT_SENT = "was not sent"
NOTE_ENDS = "Nothing in it was touched. Mend that, and it is looked at again.\n"
_LONGEST = 400  # characters of a line in an entry
_HALF = re.compile(
    r"(?:.+\.(?:part|partial|filepart|crdownload|download|tmp|temp|!ut|aria2)|~.+|\..+\.[A-Za-z0-9]{6})", re.IGNORECASE
)
"""Names of files that are still being copied, by common practice; rsync(1) writes to `.NAME.XXXXXX`."""


def finished_folders(room: Room) -> list[Path]:
    """Return the folders in `to-send/` that may be sent now. Asks the store nothing."""
    with in_our_words(str(room.places.to_send), "look through it"):
        folders = sorted(each for each in room.places.to_send.iterdir() if each.is_dir() and each.name[0] != ".")
        now = _time_of(room.places.to_send) if folders else 0.0
    return [folder for folder in folders if _is_finished(room, folder, now)]


def _time_of(place: Path) -> float:
    """Return the time of the disk or share that holds `place`, in seconds since 1970: its clock stamps the files."""
    with tempfile.TemporaryFile(dir=place, prefix=OURS) as probe:
        return os.fstat(probe.fileno()).st_ctime


def _is_finished(room: Room, folder: Path, now: float) -> bool:
    try:
        changed = _last_change(folder)
        finished = _is_marked(folder) or _is_settled(folder, changed, room.settle, now)
    except RelayError as error:
        explain(folder, error)
        return False
    return finished and room.patience.allows(_name_of(folder, changed))


def _is_marked(folder: Path) -> bool:
    return folder.with_name(folder.name + FINISHED).exists()


def _last_change(folder: Path) -> float | None:
    """Return when a file in `folder` was last written or renamed, in seconds since 1970; None: it holds none."""
    # We rename the slip ourselves: of it, only what was written counts.
    files = survey(folder).files.items()
    return max(((stamp.mtime_ns if path == SLIP else stamp.ctime_ns) / 1e9 for path, stamp in files), default=None)


def _is_settled(folder: Path, changed: float | None, settle: float, now: float) -> bool:
    if changed is None or changed + settle >= now:
        return False
    half = next((path for path in survey(folder).files if _HALF.fullmatch(path.rpartition("/")[2])), None)
    if half is not None:
        raise RefusedError(
            f"{half} bears the name of a file that is still being copied, but nothing has changed for {settle:.0f} s. "
            f"Copy it again, or take it out; if it belongs there, put an empty file {folder.name}{FINISHED} beside"
        )
    return True


def _name_of(folder: Path, changed: float | None) -> str:
    """Return under which name what is wrong with a folder is remembered: any change in it makes it another."""
    return f"send {folder.name} {changed} {_is_marked(folder)}"


def send_folder(desk: Desk, room: Room, folder: Path) -> None:
    """Send one finished folder, or write a note beside it. Needs a ledger that was just followed."""
    name = _name_of(folder, _last_change(folder))
    try:
        with slip_of(folder) as slip:
            sent = _sent(desk, room, folder, slip)
        _put_away(desk, room, folder, sent)
    except (TransientError, LostRaceError):
        raise
    except RelayError as error:
        room.patience.failed(name, error)
        explain(folder, error)


def _sent(desk: Desk, room: Room, folder: Path, slip: Slip) -> Sent:
    state = desk.ledger.state
    reel = state.reel(slip.reel) if slip.reel else reel_of_folder(state, folder.name)
    mark = None if slip.start_mark is None else ScanMap.start_mark(slip.start_mark, slip.start_frame)
    job = slip.job or job_of(state, reel, desk.site)
    sending = Sending(folder, reel, slip.note, scan_map=mark, may_grow=True, job=job, for_next=slip.for_next)
    sent = send(desk, sending, StopWatch(room))
    LOG.info("%s sent %s%s", desk.site, sent.version.name, f" for job {job}" if job else "")
    return sent


def reel_of_folder(state: State, name: str) -> ReelName:
    """Return the reel that a folder's name begins with. Raises RefusedError."""
    reels = state.film().reel_names()
    known = [(prefix, reel) for reel in reels for prefix in {folder_name(reel), reel.replace("/", "_")}]
    fitting = [(prefix, reel) for prefix, reel in known if _begins_with(name, prefix)]
    longest = max((len(prefix) for prefix, _ in fitting), default=0)
    named = {reel for prefix, reel in fitting if len(prefix) == longest}
    if len(named) == 1:
        return named.pop()
    some = ", ".join(sorted(folder_name(reel) for reel in named or reels)[:8]) + (" ..." if len(reels) > 8 else "")
    raise RefusedError(
        f"the folder's name {name!r} {'fits several reels' if named else 'names no reel of the production'}: expected "
        f'one of {some} at the start of its name, or a file relay.toml in it that says reel = "ELEMENT/REEL"'
    )


def _begins_with(name: str, prefix: str) -> bool:
    return name.lower().startswith(prefix.lower()) and name[len(prefix) : len(prefix) + 1] in {"", " ", "_", ".", "-"}


def job_of(state: State, reel: ReelName, site: str) -> str | None:
    """Return the one job on `reel` that people at this site hold, or held last; None where they hold none."""
    of_reel = [job for job in state.jobs.values() if job.reel == reel]
    held = [job.job for job in of_reel if job.claim and job.claim.site == site and job.claim.lease is None]
    if len(held) > 1:
        raise RefusedError(
            f'{site} holds {len(held)} jobs on {reel} ({", ".join(held)}): say which, in relay.toml: job = "..."'
        )
    return held[0] if held else _held_last(state, of_reel, site)


def _held_last(state: State, jobs: list[Job], site: str) -> str | None:
    """Return the job whose claim by people here ended undone, so that this comes late for it: also when it is done."""
    own = [(claim.epoch, job) for job in jobs for claim in job.past if (claim.site, claim.lease) == (site, None)]
    late = [(epoch, job.job) for epoch, job in own if _is_open_ended(job, site) or not _is_answered(state, job, epoch)]
    return max(late)[1] if late else None


def _is_open_ended(job: Job, site: str) -> bool:
    return job.outcome is None and job.past[-1].site == site


def _is_answered(state: State, job: Job, epoch: int) -> bool:
    """Answer whether whoever held the claim of entry `epoch` has sent something for it."""
    by = next(claim.site for claim in job.past if claim.epoch == epoch)
    sent = (state.versions[version] for version in made_by(job))
    return any(version.by == by and version.entry > epoch for version in sent)


def _put_away(desk: Desk, room: Room, folder: Path, sent: Sent) -> None:
    for beside in (FINISHED, PROBLEM):
        folder.with_name(folder.name + beside).unlink(missing_ok=True)
    place = room.places.sent / folder_name(sent.version.name)
    try:
        folder.rename(place)
    except OSError as error:
        raise RefusedError(
            f"{folder.name} is sent as {sent.version.name}, but cannot be moved to {place} ({error.strerror}): "
            "move it there yourself"
        ) from error
    desk.arrivals.note(place, sent.version.name, sent.version.manifest)


def kept_folders(room: Room) -> dict[str, str]:
    """Return what lies in `to-send/` with a note of ours beside it, and why; put notes away whose folder is gone."""
    kept: dict[str, str] = {}
    with in_our_words(str(room.places.to_send), "look through it"):
        for note in sorted(room.places.to_send.glob(f"*{PROBLEM}")):
            folder, why = note.with_name(note.name.removesuffix(PROBLEM)), _why(note)
            if why is None:
                continue
            if folder.is_dir():
                kept[in_a_line(folder.name)] = why
            else:
                note.unlink(missing_ok=True)
    return kept


def _why(note: Path) -> str | None:
    """Return what a note of ours says was wrong; None where it is none of ours."""
    try:
        head, _, rest = note.read_text(encoding="utf-8", errors="replace").partition("\n\n")
    except OSError:
        return None  # put away a moment ago, or not for us to read
    said, _, end = rest.rpartition("\n\n")
    is_ours = head == f"{note.name.removesuffix(PROBLEM)} {NOT_SENT}." and end == NOTE_ENDS
    return in_a_line(said.removesuffix(".")) if is_ours else None


def in_a_line(text: str) -> str:
    """Return `text` as one printable line that fits into an entry."""
    line = " ".join("".join(each if each.isprintable() else " " for each in text).split())
    return (line if len(line) <= _LONGEST else f"{line[: _LONGEST - 4]} ...") or "?"


def folder_words(state: State, site: str, kept: dict[str, str]) -> list[Word]:
    """Return what is to be said so that the ledger knows of the folders in `kept`, and of no other. Pure."""
    said = [each.folder for each in state.kept_at(site)]
    settled = [FolderSettled(folder=name) for name in said if name not in kept]
    fresh = [FolderNotSent(folder=name, why=why) for name, why in kept.items() if name not in said]
    return [*settled, *fresh[: KEPT_FOLDERS - len(said) + len(settled)]]


def explain(folder: Path, error: RelayError, what: str = NOT_SENT) -> None:
    """Put a note beside the folder; the same note is not written twice."""
    path = folder.with_name(folder.name + PROBLEM)
    text = f"{folder.name} {what}.\n\n{error}.\n\n{NOTE_ENDS}"
    try:
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            LOG.error("%s %s: %s", folder.name, what, error)
            half = path.with_name(f"{OURS}{path.name}")
            half.write_text(text, encoding="utf-8")
            half.replace(path)
    except OSError:
        LOG.error("the note %s could not be written", path)  # noqa: TRY400  the reason was logged above
