"""A version looked at where it arrived: the report goes into the store, and one entry says what was found.

The frames are looked at while they arrive, so no byte of them is read a second time. Killed in between, the same call
looks at what lies in the folder.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from relay.ledger.entry import Entry
from relay.ledger.state import State, Version
from relay.ledger.words import VersionInspected, Word
from relay.media.asked import asked_for
from relay.media.eyes import Eyes
from relay.media.inspection import Inspection, Told
from relay.media.ruling import rules_of
from relay.media.sheet import contact_sheet, strip
from relay.model import Digest, digest_of, reel_of
from relay.transfer.desk import Desk
from relay.transfer.sender import Sender


@contextmanager
def inspecting(desk: Desk, version: Version, stage: str | None) -> Iterator[Inspection]:
    """Open an inspection of `version`. Raises RefusedError where the libraries for it are not installed."""
    paths = [file.path for file in desk.manifests.read(version.manifest).files]
    asked = asked_for(desk.ledger.state.film(), reel_of(version.name), stage)
    with Eyes() as eyes:
        yield Inspection(paths, eyes, asked, rules_of(desk.owed.parent))


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
