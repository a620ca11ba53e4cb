"""A version looked at where it arrives: the report goes into the store, and one entry says what was found.

The frames are looked at while they arrive, or while they are sent, so no byte of them is read a second time. Killed in
between, the same call looks at what lies in the folder.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from relay.errors import RefusedError
from relay.ledger import owed
from relay.ledger.entry import Entry
from relay.ledger.job_state import Job
from relay.ledger.state import State, Version
from relay.ledger.words import VersionInspected, VersionNotInspected, Word
from relay.ledger.work import job_named
from relay.media.asked import asked_for
from relay.media.eyes import Eyes, has_media
from relay.media.findings import Grade, Report
from relay.media.inspection import Inspection, Told
from relay.media.manifest import Manifest
from relay.media.ruling import rules_of
from relay.media.sheet import contact_sheet, strip
from relay.model import Digest, ScanMap, VersionName, digest_of, reel_of
from relay.transfer.deposit import Deposit, deposit
from relay.transfer.desk import Desk
from relay.transfer.folder import survey
from relay.transfer.gaps_before import known_gaps, sources_of
from relay.transfer.handover import Looking, Received, Sending, Sent, receive, send
from relay.transfer.progress import UNWATCHED, Watcher
from relay.transfer.sender import Sender
from relay.wording import in_words

NO_MEDIA = (
    "what reads pictures and sound is not installed there: pip install 'relay-handoff[media]', and its worker looks"
)


@contextmanager
def inspecting(desk: Desk, version: Version, job: Job) -> Iterator[Inspection]:
    """Open an inspection of what `job` was handed in with. Raises RefusedError: no libraries for it here."""
    state, reel = desk.ledger.state, reel_of(version.name)
    paths = [file.path for file in desk.manifests.read(version.manifest).files]
    gaps = known_gaps(desk, sources_of(state, reel, job, version.parents), version.scan_map, paths)
    asked = replace(asked_for(state.film(), reel, job.stage), known_gaps=gaps)
    with Eyes() as eyes:
        yield Inspection(paths, eyes, asked, rules_of(desk.owed.parent))


def send_and_look(desk: Desk, sending: Sending, eyes: Eyes, watcher: Watcher = UNWATCHED) -> tuple[Sent, Report]:
    """Send a package and look at its frames while they are in memory; where something blocks, say nothing.

    What was stored by then is nobody's version, and needs not be sent again. Raises RefusedError, naming what blocks.
    """
    state = desk.ledger.follow()
    job = job_named(state, sending.job) if sending.job else None
    asked = asked_for(state.film(), sending.reel, job.stage if job else None)
    inspection = Inspection(survey(sending.folder).files, eyes, asked, rules_of(desk.owed.parent))
    reports: list[Report] = []

    def check(manifest: Manifest, scan_map: ScanMap | None, parents: tuple[VersionName, ...]) -> None:
        if job:
            sources, paths = sources_of(state, sending.reel, job, parents), [file.path for file in manifest.files]
            inspection.asked = replace(asked, known_gaps=known_gaps(desk, sources, scan_map, paths))
        inspection.look_at_rest(sending.folder)
        reports.append(inspection.report())
        _check_blocks_nothing(sending.folder, reports[0])

    sent = send(desk, sending, watcher, Looking(inspection.look, check))
    return sent, reports[0]


def look_ahead(desk: Desk, folder: Path, inspection: Inspection, watcher: Watcher = UNWATCHED) -> Deposit:
    """Store a package and look at its frames while they are in memory, and say nothing: it is nobody's version yet.

    Whoever sends the folder as it is reads none of its frames again. Raises what `deposit` raises.
    """
    stored = deposit(
        folder, desk.store, desk.notebook, hands=desk.hands, watcher=watcher, clock=desk.clock, onlooker=inspection.look
    )
    inspection.look_at_rest(folder)
    return stored


def _check_blocks_nothing(folder: Path, report: Report) -> None:
    blocking = [each for each in report.findings if each.grade is Grade.BLOCKS]
    if blocking:
        first = blocking[0]
        where = f", frames {in_words(first.frames, 6)}" if first.frames else ""
        raise RefusedError(
            f"{folder} is not sent: what was found blocks acceptance, in {len(blocking)} of its parts; first "
            f"{first.kind}{where}: {first.what}. `relay inspect` lists all. "
            "Put it right, or send without --inspect and say in --note why"
        )


def receive_and_look(
    desk: Desk,
    version_or_reel: str,
    place: Path,
    watcher: Watcher = UNWATCHED,
    told: Told = lambda _path, _size: None,
) -> Received:
    """Fetch a version; where this site is to look at it, and can, while its frames are in memory."""
    state = desk.ledger.follow()
    version = state.version(version_or_reel)
    job = owed.inspected_job(state, version.name, desk.site)
    if job is None or not has_media():
        received = receive(desk, version.name, place, watcher)
        if received.fetched.whole:
            say_unseen(desk, version.name)
        return received
    with inspecting(desk, version, job) as inspection:
        received = receive(desk, version.name, place, watcher, inspection.look)
        if received.fetched.whole:
            conclude(desk, version, place, inspection, told)
    return received


def say_unseen(desk: Desk, name: VersionName) -> Entry | None:
    """Say that this site should look at a version and cannot; once, and only where that is so."""

    def decide(state: State, _now: datetime) -> list[Word] | None:
        if name not in owed.to_say_unseen(state, desk.site):
            return None
        return [VersionNotInspected(version=name, manifest=state.versions[name].manifest, why=NO_MEDIA)]

    return None if has_media() else desk.ledger.append(desk.pen, decide)


def conclude(
    desk: Desk,
    version: Version,
    folder: Path,
    inspection: Inspection,
    told: Told = lambda _path, _size: None,
) -> Entry | None:
    """Look at what was not at hand, store the report and its pictures, and say so. None: somebody said it before."""
    inspection.look_at_rest(folder, told=told)
    word = _told(desk, version, inspection)

    def decide(state: State, _now: datetime) -> list[Word] | None:
        return None if state.versions[version.name].inspections else [word]

    return desk.ledger.append(desk.pen, decide)


def _told(desk: Desk, version: Version, inspection: Inspection) -> VersionInspected:
    report = inspection.report()
    sender = Sender(desk.store, desk.notebook, frozenset())

    def kept(body: bytes | bytearray, what: str) -> Digest:
        digest = digest_of(body)
        writable = body if isinstance(body, bytearray) else bytearray(body)
        sender.put(digest, memoryview(writable), f"{what} of {version.name}")
        return digest

    pictures: dict[str, Digest] = {}
    if report.runs and (thumbnails := inspection.thumbnails[report.runs[0].name]).grey:
        run, gauge = report.runs[0], inspection.asked.gauge
        pictures["sheet"] = kept(contact_sheet(version.name, run, thumbnails, gauge), "the contact sheet")
        pictures["strip"] = kept(strip(run, thumbnails, report.findings), "the strip")
        pictures["thumbnails"] = kept(thumbnails.stored(), "the thumbnails")
    return VersionInspected(
        version=version.name,
        manifest=version.manifest,
        report=kept(report.encode(), "the inspection"),
        blocking=report.blocking(),
        warning=report.warning(),
        **pictures,
    )
