"""`relay inspect`: a folder looked at before it is sent."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.making import writing
from relay.cli.progress import watching
from relay.cli.typed import VersionText
from relay.clock import SYSTEM_CLOCK
from relay.errors import MissingError, RefusedError
from relay.media.asked import NOTHING_ASKED, Asked, asked_for
from relay.media.eyes import Eyes
from relay.media.findings import Finding, Report, Run
from relay.media.gaps import map_with_gaps
from relay.media.inspection import Inspection
from relay.media.ruling import read_rules, rules_of
from relay.model import Digest, ScanMap
from relay.settings import Home
from relay.transfer.folder import survey
from relay.transfer.hashes import remember_hashes
from relay.transfer.inspecting import look_ahead
from relay.transfer.looked import newest_look, read_object, read_report
from relay.transfer.notebook import Notebook, Stamp
from relay.transfer.progress import Watcher
from relay.wiring import open_desk
from relay.wording import in_words

Files = Mapping[str, Stamp]
Digests = dict[str, Digest]


def inspect(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder that holds the reel.")],
    reel: Annotated[
        str | None,
        typer.Option(metavar="ELEMENT/REEL", help="Compare with what the production knows of this reel."),
    ] = None,
    stage: Annotated[
        str | None, typer.Option(metavar="STAGE", help="Compare with the picture that this stage asks for.")
    ] = None,
    rules: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A rule file of your own.", show_default="the home's inspection.toml"),
    ] = None,
    scan_map: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a scan map here that leaves room for gaps in the edge code."),
    ] = None,
    ahead: Annotated[
        bool,
        typer.Option("--ahead", help="Store each frame as well while it is in memory: `relay send` reads none again."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Look at a reel before it is sent.

    Every frame is decoded and measured: numbers, sizes, headers, black, frozen and repeated frames, length, sound.
    Signs nothing, and sends nothing unless --ahead. Exit code 2: something blocks acceptance.
    """
    asked = _asked(context.obj, reel, stage)
    ruling = read_rules(rules) if rules else rules_of(context.obj.folder)
    files = survey(folder).files
    with Eyes() as eyes, watching(f"looking at {folder.name}", quiet=as_json) as watcher:
        inspection = Inspection(files, eyes, asked, ruling)
        digests = (_stored if ahead else _looked_at)(context.obj, folder, files, inspection, watcher)
    report = inspection.report()
    if scan_map is not None:
        _write_map(scan_map, report)
    facts = {"folder": str(folder), "blocking": report.blocking(), "warning": report.warning()}
    facts |= report.model_dump(mode="json")
    facts["digests"] = digests
    answer(facts, as_json=as_json, show=lambda page: _show_report(page, report))
    if report.blocking():
        raise RefusedError(
            f"{folder} has {count(report.blocking(), 'finding')} that block acceptance: put right what they name, or "
            "scan it again, then look again"
        )


def _stored(home: Home, folder: Path, _files: Files, inspection: Inspection, watcher: Watcher) -> Digests:
    with open_desk(home) as desk:
        manifest = look_ahead(desk, folder, inspection, watcher).manifest
    return {file.path: file.digest for file in manifest.files}


def _looked_at(home: Home, folder: Path, files: Files, inspection: Inspection, watcher: Watcher) -> Digests:
    began = SYSTEM_CLOCK.now()
    watcher.expect(len(files), sum(stamp.size for stamp in files.values()))

    def told(path: str, size: int) -> None:
        watcher.moved(size)
        watcher.finished(path)

    inspection.look_at_rest(folder, told=told)
    if home.site_file.is_file():  # who looks may be no site, and has nothing to send then
        with Notebook(home.notebook) as notebook:
            remember_hashes(notebook, folder, files, inspection.digests, began)
    return inspection.digests


def _asked(home: Home, reel: str | None, stage: str | None) -> Asked:
    if reel is None:
        if stage is not None:
            raise RefusedError("--stage says nothing without --reel ELEMENT/REEL: name the reel, too")
        return NOTHING_ASKED
    with open_desk(home) as desk:
        state = desk.ledger.follow()
        film, named = state.film(), state.reel(reel)
    if stage is not None and stage not in {step.name for step in film.route}:
        raise RefusedError(f"the route has no stage {stage!r}: expected one of {', '.join(s.name for s in film.route)}")
    return asked_for(film, named, stage)


def _write_map(path: Path, report: Report) -> None:
    found: ScanMap | None = map_with_gaps(report.runs[0], report.findings) if report.runs else None
    if found is None:
        raise RefusedError("the edge code shows no gap, so no scan map was written: send the reel without --scan-map")
    lines = [
        f"[[segments]]\nscan = {each.scan}\nreel = {each.reel}\n" + (f"count = {each.count}\n" if each.count else "")
        for each in found.segments
    ]
    with writing(path):
        path.write_text("\n".join(lines), encoding="utf-8")


def _show_report(page: Page, report: Report) -> None:
    for run in report.runs:
        page.line(f" {_run(run)}", head=run.name)
    for sound in report.sounds:
        page.line(
            f" {sound.seconds:.2f} s, {sound.channels} channels at {sound.rate} Hz, {sound.form}", head=sound.path
        )
    for movie in report.movies:
        page.line(f" {count(movie.frames, 'picture')}, {movie.width}x{movie.height}, {movie.codec}", head=movie.path)
    if report.documents:
        page.line(f"{count(len(report.documents), 'still or paper', 'stills and papers')}.")
    if report.findings:
        page.table(("", "finding", "frames", "sure", "what"), [_row(each) for each in report.findings])
    else:
        page.line(f"{count(report.looked_at, 'frame')} looked at, nothing found.")


def _run(run: Run) -> str:
    said = f"{count(run.count, 'frame')}, {run.first} to {run.last}: {run.width}x{run.height}, {run.channels} channels "
    said += f"of {run.bits} bits, {run.transfer or 'no transfer named'}"
    return said + (f", {run.rate:g} frames a second" if run.rate else "")


def findings(
    context: typer.Context,
    version: VersionText,
    sheet: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the contact sheet here, as PNG.")] = None,
    strip: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the strip here, as PNG: a thumbnail for each second.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show what an inspection found in a version.

    Workers look at what is handed in where the stage is `inspected`; the pictures are made in the same pass.
    """
    with open_desk(context.obj) as desk:
        named = desk.ledger.follow().version(version)
        looked = newest_look(named)
        report = read_report(desk, looked)
        for place, digest in ((sheet, looked.sheet), (strip, looked.strip)):
            if place is not None:
                _write_picture(place, None if digest is None else read_object(desk, digest))
    facts = {"version": named.name, "by": looked.site, "entry": looked.entry, **report.model_dump(mode="json")}
    answer(facts, as_json=as_json, show=lambda page: _show_report(page, report))


def _write_picture(place: Path, body: bytes | None) -> None:
    if body is None:
        raise MissingError(f"the version has no frames, so there is no picture for {place}: leave that option out")
    with writing(place):
        place.write_bytes(body)


def _row(finding: Finding) -> tuple[str, ...]:
    name, frames = finding.where.rpartition("/")[2], in_words(finding.frames, 6)
    where = f"{name} {frames}" if frames and "#" not in name else frames or name  # sounds and movies have no numbers
    return (finding.grade.value, finding.kind.value, where, f"{finding.sure:.0%}", finding.what)
