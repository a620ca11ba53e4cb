"""`relay send` and `relay fetch`: a reel handed over."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.numbers import counted, pairs_of, parse_start_mark, read_scan_map
from relay.cli.progress import watching
from relay.cli.typed import ReelText, VersionText, checked_note
from relay.cli.upkeep import show_faults
from relay.errors import BrokenError, RefusedError
from relay.ledger import work
from relay.ledger.work import held_on
from relay.media.eyes import Eyes
from relay.media.findings import Report
from relay.media.sequence import frames_in
from relay.model import ScanMap, VersionName, parse_version
from relay.transfer.desk import Desk
from relay.transfer.handover import Received, Sending, Sent
from relay.transfer.handover import send as send_package
from relay.transfer.inspecting import receive_and_look, send_and_look
from relay.transfer.progress import Watcher
from relay.wiring import open_desk


def send(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder that holds the finished reel.")],
    reel: ReelText,
    note: Annotated[
        str,
        typer.Option(metavar="TEXT", callback=checked_note, help="What the next site should know.", show_default=False),
    ] = "",
    parent: Annotated[
        list[str] | None,
        typer.Option(
            metavar="VERSION",
            help="The version this was made from; may be given more than once.",
            show_default="the newest",
        ),
    ] = None,
    start_mark: Annotated[
        str | None,
        typer.Option(
            metavar="NUMBER",
            help="The number of the file that shows the start mark, which is frame 0; or NUMBER=FRAME.",
            show_default="as in the parent, or the first file",
        ),
    ] = None,
    scan_map: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A TOML file of segments, for a scan that skips or repeats."),
    ] = None,
    job: Annotated[
        str | None,
        typer.Option(
            metavar="JOB", help="The job that this hands in, such as grade/A/R03.", show_default="the one you hold"
        ),
    ] = None,
    no_job: Annotated[bool, typer.Option("--no-job", help="Hand no job in: just a version.")] = False,
    rehash: Annotated[
        bool, typer.Option("--rehash", help="Read every file again; believe no remembered hash.")
    ] = False,
    at_once: Annotated[
        bool, typer.Option("--at-once", help="Do not wait to see whether the folder is still being filled.")
    ] = False,
    look: Annotated[
        bool,
        typer.Option(
            "--inspect",
            help="Look at each frame while it is sent; hand over nothing that blocks.",
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Send a finished reel.

    The folder becomes the reel's next version. Where the edge code in the frames' headers jumps, the reel keeps a gap,
    unless --scan-map or an earlier version says which frame is which. Interrupted? Run the same command again; it goes
    on where it was.
    """
    tied = _tied(start_mark, scan_map)
    with open_desk(context.obj) as desk, watching(f"sending {reel}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        parents = None if parent is None else tuple(VersionName(_version_name(text)) for text in parent)
        named = state.reel(reel)
        for_job = None if no_job else (work.job_named(state, job).job if job else held_on(state, named, desk.site))
        sending = Sending(
            folder, named, note, parents, tied, rehash, may_grow=at_once, job=for_job, for_next=note if for_job else ""
        )
        sent, report = _sent(desk, sending, watcher, look=look)
        work.open_due(desk.ledger, desk.pen)
        frames = frames_in(sent.deposit.manifest, sent.version.scan_map)
        element = state.film().element_of(named)
    facts = {
        "version": sent.version.name,
        "new": sent.is_new,
        "entry": sent.version.entry,
        "manifest": sent.version.manifest,
        "files": sent.version.files,
        "bytes": sent.version.size,
        "frames": pairs_of(frames),
        "note": sent.version.note,
        "sent_objects": sent.deposit.sent_objects,
        "sent_bytes": sent.deposit.sent_bytes,
        "already_there": sent.deposit.already_there,
        "lacking_by_edge_code": sent.lacking,
        "left_out": list(sent.deposit.left_out),
        "job": sent.job,
        "came_late": sent.came_late,
    }
    if report:
        facts["findings"] = report.model_dump(mode="json")["findings"]
    told = counted(frames, element.gauge) if frames and element else "No frames of the reel: just files"
    answer(facts, as_json=as_json, show=lambda page: _show_sent(page, sent, told, note, report))


def _sent(desk: Desk, sending: Sending, watcher: Watcher, *, look: bool) -> tuple[Sent, Report | None]:
    if not look:
        return send_package(desk, sending, watcher), None
    with Eyes() as eyes:
        return send_and_look(desk, sending, eyes, watcher)


def _version_name(text: str) -> str:
    try:
        return parse_version(text)
    except ValueError as error:
        raise RefusedError(str(error)) from error


def _tied(start_mark: str | None, scan_map: Path | None) -> ScanMap | None:
    if start_mark and scan_map:
        raise RefusedError("--start-mark and --scan-map say the same thing twice: give one of them")
    if start_mark:
        return parse_start_mark(start_mark)
    return read_scan_map(scan_map) if scan_map else None


def _show_sent(page: Page, sent: Sent, frames: str, note: str, report: Report | None) -> None:
    version, deposit = sent.version, sent.deposit
    size = f"{count(version.files, 'file')}, {bytes_in_words(version.size)}"
    if not sent.is_new:
        page.line(f" is this very package, sent before with entry {version.entry}: nothing new.", head=version.name)
        if note not in {"", version.note}:
            page.line(f"Its note stays: {version.note or 'none'}.")
        return
    page.line(f" is sent: {size}, entry {version.entry}.", head=version.name)
    page.line(f"{frames}.")
    if sent.lacking:
        page.line(f"By its edge code the film lacks {count(sent.lacking, 'frame')}: gaps on the reel keep their place.")
    if report:
        found = ", ".join(sorted({each.kind for each in report.findings}))
        page.line(f"{count(report.looked_at, 'frame')} looked at. To be seen by somebody: {found or 'nothing'}.")
    if sent.came_late:
        page.line(
            f"Your claim on {sent.job} is over: the version is kept, and nobody accepted it. Tell the coordinator."
        )
    elif sent.job:
        page.line(f"It hands in {sent.job}.")
    if not deposit.sent_objects:
        page.line("Nothing went over the line: the store had all of it.")
    elif deposit.sent_bytes < version.size:
        page.line(f"{bytes_in_words(deposit.sent_bytes)} went over the line; the store had the rest.")
    if version.parents:
        page.line(f"Made from {', '.join(version.parents)}.")
    if deposit.left_out:
        page.line(f"Left out, as file browsers write them by themselves: {', '.join(deposit.left_out)}.")


def fetch(
    context: typer.Context,
    version: VersionText,
    target: Annotated[
        Path,
        typer.Argument(metavar="TARGET", help="The new folder it shall arrive as. It appears whole or not at all."),
    ],
    as_json: AsJson = False,
) -> None:
    """Fetch a version and sign a receipt.

    Every byte is verified before the folder appears. Interrupted? Run the same command again; it goes on where it was.
    """
    with open_desk(context.obj) as desk, watching(f"fetching {version}", quiet=as_json) as watcher:
        received = receive_and_look(desk, version, target, watcher)
        work.open_due(desk.ledger, desk.pen)
    facts = {
        "version": received.version.name,
        "whole": received.fetched.whole,
        "target": str(received.fetched.target),
        "receipt": received.receipt.entry,
        "fetched_bytes": received.fetched.fetched_bytes,
        "reused_bytes": received.fetched.reused_bytes,
        "faults": [fault._asdict() for fault in received.fetched.faults],
    }
    answer(facts, as_json=as_json, show=lambda page: _show_received(page, received))
    if not received.fetched.whole:
        raise BrokenError(
            f"{received.version.name} did not arrive whole, and nothing lies at {received.fetched.target}. "
            f"Receipt {received.receipt.entry} tells {received.version.by}, who can mend it with "
            f"`relay mend {received.version.name} FOLDER`; then run this again: only what was bad is fetched"
        )


def _show_received(page: Page, received: Received) -> None:
    fetched, version = received.fetched, received.version
    if not fetched.whole:
        page.line(f" is refused: {count(len(fetched.faults), 'file')} of {version.files:,} bad.", head=version.name)
        show_faults(page, fetched.faults)
        return
    size = f"{count(version.files, 'file')}, {bytes_in_words(version.size)}"
    page.line(f" arrived whole in {fetched.target}: {size}, every byte verified.", head=version.name)
    page.line(f"Receipt: entry {received.receipt.entry}.")
    if fetched.reused_bytes:
        page.line(f"{bytes_in_words(fetched.reused_bytes)} came from versions that were here already.")
