"""Makes room at a site: finds folders in `sent/` and `arrived/` that nobody needs, and removes only what is safe.

A folder goes only when all of this holds: this site sent it or received it as a version; it was left alone for long
enough; nothing that is under way here takes it; every byte in it is the version's, and nothing lies beside; and every
byte of the version was read again in the bucket, now or lately, and is whole there. Whatever is not so stays, and why
is said.
"""

import shutil
from collections.abc import Iterator, Sequence
from datetime import timedelta
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from relay.errors import RelayError
from relay.ledger import owed
from relay.ledger.job_state import Job
from relay.ledger.state import State, Version
from relay.ledger.words import CopyChecked, Word
from relay.media.names import OURS
from relay.model import VersionName
from relay.store.folder import in_our_words
from relay.store.keys import ALIVE_PREFIX, alive_key
from relay.transfer.arrivals import Arrival
from relay.transfer.desk import Desk
from relay.transfer.fixity import Pace, check_copy
from relay.transfer.folder import survey
from relay.transfer.verify import verify

FULL_SPEED = 10**12


class Rule(NamedTuple):
    """What may go."""

    older: timedelta = timedelta(days=30)
    """For how long a folder must have been left alone."""
    read_within: timedelta = timedelta(days=7)
    """For how long it is believed that the bucket's copy is whole, once every byte of it was read. What another site
    received says less: it may have had some of the frames already."""


class Verdict(StrEnum):
    """What becomes of a folder."""

    GOES = "goes"
    GONE = "gone"
    STAYS = "stays"


class Found(NamedTuple):
    """A folder at this site, which version it is a copy of, and what becomes of it."""

    folder: Path
    version: VersionName
    size: int
    """Bytes."""
    verdict: Verdict
    why: str


def tidy(desk: Desk, places: Sequence[Path], rule: Rule, *, remove: bool) -> list[Found]:
    """Look through `places` for folders that were left alone long enough, and remove them if told to.

    Without `remove`, nothing is removed and nothing is said; what the bucket holds is not read then.
    """
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    return [_looked_at(desk, desk.ledger.state, each, rule, remove=remove) for each in _copies(desk, state, places)]


class _Copy(NamedTuple):
    version: Version
    folder: Path


def _copies(desk: Desk, state: State, places: Sequence[Path]) -> Iterator[_Copy]:
    """Give the folders right in `places` that were a version when this site last looked."""
    inside = {place.resolve() for place in places}
    for version in state.versions.values():
        for arrival in desk.arrivals.near(version.name):
            if _is_of(arrival, version) and arrival.folder.parent in inside:
                yield _Copy(version, arrival.folder)


def _is_of(arrival: Arrival, version: Version) -> bool:
    """A folder's name tells versions apart that hold the same files."""
    return arrival.manifest == version.manifest and arrival.folder.name.endswith(
        f"_v{version.name.rpartition('/v')[2]}"
    )


def _looked_at(desk: Desk, state: State, copy: _Copy, rule: Rule, *, remove: bool) -> Found:
    def found(verdict: Verdict, why: str) -> Found:
        return Found(copy.folder, copy.version.name, copy.version.size, verdict, why)

    try:
        needed = _needed(desk, state, copy, rule.older)
        if needed is not None:
            return found(Verdict.STAYS, needed)
        if not remove:
            return found(Verdict.GOES, "nobody here needs it; `--remove` reads it and the bucket's copy first")
        altered = _altered(desk, copy) or _unsafe(desk, copy.version, rule) or _removed(desk, copy)
    except RelayError as error:
        return found(Verdict.STAYS, str(error))
    return found(Verdict.STAYS, altered) if altered else found(Verdict.GONE, "the bucket holds it, whole")


def _needed(desk: Desk, state: State, copy: _Copy, older: timedelta) -> str | None:
    """Return who still needs a folder, or None."""
    if copy.version.name in owed.meant_for(state, desk.site):
        return "it is meant for this site"
    at_work = [job.job for job in state.jobs.values() if _is_at_work(job, copy.version.name)]
    if at_work:
        return f"{at_work[0]} is not over"
    if not _is_sound(state, copy.version):
        return "something of it is bad in the bucket: this copy may mend it"
    newest = max((stamp.ctime_ns for stamp in survey(copy.folder).files.values()), default=0) / 1e9
    if older and desk.clock.now().timestamp() - newest < older.total_seconds():
        return f"it is younger than {older.days} days"
    return None


def _is_at_work(job: Job, version: VersionName) -> bool:
    return not job.is_over and version in {*job.inputs, job.outcome, *job.late}


def _is_sound(state: State, version: Version) -> bool:
    """Answer whether nobody found anything of `version` bad in the bucket that was not mended since."""
    return all(not faults or owed.mended_since(state, version.name, entry) for entry, faults in owed.findings(version))


def _altered(desk: Desk, copy: _Copy) -> str | None:
    faults = verify(copy.folder, desk.manifests.read(copy.version.manifest), hands=desk.hands)
    return f"it is not {copy.version.name} any more ({faults[0]}): somebody worked in it" if faults else None


def _unsafe(desk: Desk, version: Version, rule: Rule) -> str | None:
    """Return why the bucket's copy cannot be relied on, reading every byte of it unless that was done lately."""
    state = desk.ledger.state
    checks = [check for check in state.versions[version.name].checks if check.place == "bucket"]
    last = checks[-1] if checks else None
    if last is None or last.outcome != "whole" or desk.clock.now() - last.time >= rule.read_within:
        last = check_copy(desk, version, "bucket", None, Pace(desk.clock, FULL_SPEED))
    return None if last.outcome == "whole" else f"the bucket's copy is {last.outcome}, see entry {last.entry}"


def _removed(desk: Desk, copy: _Copy) -> str | None:
    """Say that this copy is gone, then remove it; put it back where somebody wrote to it meanwhile."""
    before = survey(copy.folder).files
    hidden = copy.folder.with_name(f"{OURS}removing-{copy.folder.name}")
    with in_our_words(str(copy.folder), "remove it"):
        copy.folder.rename(hidden)
    if survey(hidden).files != before:
        hidden.rename(copy.folder)
        return "somebody wrote to it a moment ago"
    _say_gone(desk, copy)
    shutil.rmtree(hidden, ignore_errors=True)  # what is left is hidden, and goes the next time
    return None


def _say_gone(desk: Desk, copy: _Copy) -> None:
    """Let `relay copies` count this site no more."""
    word = CopyChecked(
        version=copy.version.name,
        manifest=copy.version.manifest,
        place="site",
        label=str(copy.folder),
        outcome="gone",
    )

    def decide(_state: State, _now: object) -> list[Word]:
        return [word]

    desk.ledger.insist(desk.pen, decide)


def sweep_hidden(places: Sequence[Path]) -> None:
    """Remove what a run that was killed had begun to remove."""
    for place in places:
        for hidden in place.glob(f"{OURS}removing-*"):
            shutil.rmtree(hidden, ignore_errors=True)


def stale_signs(desk: Desk) -> list[str]:
    """Return the keys of signs of life whose claims are over.

    Listed before the ledger is followed: whoever gave a sign by then had said its claim before.
    """
    listed = [line.key for line in desk.store.list(ALIVE_PREFIX)]
    claims = owed.machine_claims(desk.ledger.follow())
    live = {alive_key(job.job, job.claim.epoch) for job in claims if job.claim}
    return [key for key in listed if key not in live]


def forget_signs(desk: Desk, keys: Sequence[str]) -> int:
    """Remove signs of life whose claims are over; returns how many. Raises RefusedError where the store forbids it."""
    for key in keys:
        desk.store.discard(key)
    return len(keys)
