"""A version looked at where it arrived: the report goes into the store, and one entry says what was found.

The frames are looked at while they arrive, so no byte of them is read a second time. Killed in between, the same call
looks at what lies in the folder.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from relay.ledger import owed
from relay.ledger.entry import Entry
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State, Version
from relay.ledger.words import VersionInspected, VersionNotInspected, Word
from relay.media.asked import asked_for
from relay.media.eyes import Eyes, has_media
from relay.media.inspection import Inspection, Told
from relay.media.manifest import Manifest
from relay.media.package import contents_of
from relay.media.ruling import rules_of
from relay.media.sequence import frames_in
from relay.media.sheet import contact_sheet, strip
from relay.model import Digest, FrameRange, VersionName, digest_of, reel_of
from relay.transfer.desk import Desk
from relay.transfer.handover import Received, receive
from relay.transfer.progress import UNWATCHED, Watcher
from relay.transfer.sender import Sender

NO_MEDIA = (
    "what reads pictures and sound is not installed there: pip install 'relay-handoff[media]', and its worker looks"
)
_GAP_LIMIT = 100_000  # frames: a longer gap is nobody's film


@contextmanager
def inspecting(desk: Desk, version: Version, job: Job) -> Iterator[Inspection]:
    """Open an inspection of what `job` was handed in with. Raises RefusedError: no libraries for it here."""
    state = desk.ledger.state
    manifest = desk.manifests.read(version.manifest)
    asked = asked_for(state.film(), reel_of(version.name), job.stage)
    asked = replace(asked, known_gaps=_known_gaps(desk, version, _sources(state, version, job), manifest))
    with Eyes() as eyes:
        yield Inspection([file.path for file in manifest.files], eyes, asked, rules_of(desk.owed.parent))


def _sources(state: State, version: Version, job: Job) -> list[Version]:
    """Return what `version` was made from, of the same reel: what the job took, and parents that were accepted."""
    accepted = {each.outcome for each in state.jobs.values() if each.standing is Standing.ACCEPTED}
    names = [*job.inputs, *(parent for parent in version.parents if parent in accepted)]
    return [state.versions[name] for name in names if reel_of(name) == reel_of(version.name)]


def _known_gaps(desk: Desk, version: Version, sources: list[Version], manifest: Manifest) -> frozenset[int]:
    """Return the numbers without a file whose frames none of `sources` has either."""
    runs = contents_of(file.path for file in manifest.files).runs
    if not sources or not runs or version.scan_map is None:
        return frozenset()
    held = [each for source in sources for each in frames_in(desk.manifests.read(source.manifest), source.scan_map)]
    short = (gap for gap in runs[0].missing() if gap.last - gap.first < _GAP_LIMIT)
    lacking = (number for gap in short for number in range(gap.first, gap.last + 1))
    return frozenset(number for number in lacking if _is_lacking(version.scan_map.reel_frame(number), held))


def _is_lacking(frame: int | None, held: list[FrameRange]) -> bool:
    return frame is not None and not any(each.first <= frame <= each.last for each in held)


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
