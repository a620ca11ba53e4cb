"""`relay send`, `fetch`, `verify`, `mend` and `export`: a reel handed over, looked at, mended, written for others."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from relay.cli.answer import AsJson, answer, bytes_in_words, count
from relay.cli.numbers import parse_start_mark, read_scan_map
from relay.cli.progress import watching
from relay.errors import BrokenError, RefusedError
from relay.ledger import work
from relay.ledger.state import Version
from relay.ledger.work import held_on
from relay.media.manifest import Manifest
from relay.model import ScanMap, VersionName, parse_version
from relay.transfer.bag import export_bag
from relay.transfer.faults import Fault
from relay.transfer.handover import Received, Sending, Sent, receive
from relay.transfer.handover import send as send_package
from relay.transfer.mending import mend_version
from relay.transfer.verify import verify as verify_folder
from relay.wiring import open_desk

export = typer.Typer(no_args_is_help=True)

SHOWN_FAULTS = 20


def send(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="The folder that holds the finished reel.")],
    reel: Annotated[str, typer.Argument(help="Which reel it is: ELEMENT/REEL, such as A/R03.")],
    note: Annotated[str, typer.Option(help="What the next site should know.")] = "",
    parent: Annotated[
        list[str] | None,
        typer.Option(help="The version this was made from; may be given more than once.", show_default="the newest"),
    ] = None,
    start_mark: Annotated[
        str | None,
        typer.Option(
            help="Which file number shows the start mark, frame 0; or NUMBER=FRAME.",
            show_default="the parent's, or the first",
        ),
    ] = None,
    scan_map: Annotated[
        Path | None, typer.Option(help="A TOML file of segments, for a scan that skips or repeats.")
    ] = None,
    job: Annotated[
        str | None,
        typer.Option(help="The job that this hands in, such as grade/A/R03.", show_default="the one you hold"),
    ] = None,
    no_job: Annotated[bool, typer.Option("--no-job", help="Hand no job in: just a version.")] = False,
    rehash: Annotated[
        bool, typer.Option("--rehash", help="Read every file again; believe no remembered hash.")
    ] = False,
    at_once: Annotated[
        bool, typer.Option("--at-once", help="Do not wait to see whether the folder is still being filled.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Send a finished reel: it becomes the reel's next version. Interrupted? Run it again; it goes on."""
    tied = _tied(start_mark, scan_map)
    with open_desk(context.obj) as desk, watching(f"sending {reel}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        parents = None if parent is None else tuple(VersionName(_version_name(text)) for text in parent)
        named = state.reel(reel)
        for_job = None if no_job else (work.job_named(state, job).job if job else held_on(state, named, desk.site))
        sending = Sending(
            folder, named, note, parents, tied, rehash, may_grow=at_once, job=for_job, for_next=note if for_job else ""
        )
        sent = send_package(desk, sending, watcher)
        work.open_due(desk.ledger, desk.pen)
    facts = {
        "version": sent.version.name,
        "new": sent.is_new,
        "entry": sent.version.entry,
        "manifest": sent.version.manifest,
        "files": sent.version.files,
        "bytes": sent.version.size,
        "sent_objects": sent.deposit.sent_objects,
        "sent_bytes": sent.deposit.sent_bytes,
        "already_there": sent.deposit.already_there,
        "left_out": list(sent.deposit.left_out),
        "job": sent.job,
        "came_late": sent.came_late,
    }
    answer(facts, as_json=as_json, show=lambda console: _show_sent(console, sent))


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


def _show_sent(console: Console, sent: Sent) -> None:
    version, deposit = sent.version, sent.deposit
    if not sent.is_new:
        console.print(
            f"{version.name} is this very package, sent before with entry {version.entry}: nothing new was said."
        )
        return
    console.print(
        f"[bold]{version.name}[/] is sent: {count(version.files, 'file')}, {bytes_in_words(version.size)}, "
        f"entry {version.entry}."
    )
    if sent.came_late:
        console.print(
            f"Your claim on {sent.job} is over: the version is kept, and nobody accepted it. Tell the coordinator."
        )
    elif sent.job:
        console.print(f"It hands in {sent.job}.")
    unchanged = version.size - deposit.sent_bytes
    if unchanged > 0:
        console.print(
            f"{bytes_in_words(deposit.sent_bytes)} went over the line; {bytes_in_words(unchanged)} were there already."
        )
    if version.parents:
        console.print(f"Made from {', '.join(version.parents)}.")
    if deposit.left_out:
        console.print(f"Left out, as file browsers write them by themselves: {', '.join(deposit.left_out)}.")


def fetch(
    context: typer.Context,
    version: Annotated[str, typer.Argument(help="Which version, such as A/R03/v3; or a reel, for its newest.")],
    target: Annotated[Path, typer.Argument(help="The new folder it shall arrive as. It appears whole or not at all.")],
    as_json: AsJson = False,
) -> None:
    """Fetch a version, verify every byte, and sign a receipt. Interrupted? Run it again; it goes on."""
    with open_desk(context.obj) as desk, watching(f"fetching {version}", quiet=as_json) as watcher:
        received = receive(desk, version, target, watcher)
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
    answer(facts, as_json=as_json, show=lambda console: _show_received(console, received))
    if not received.fetched.whole:
        raise BrokenError(
            f"{received.version.name} did not arrive whole, and nothing lies at {received.fetched.target}. "
            f"Receipt {received.receipt.entry} tells {received.version.by}, who can mend it with "
            f"`relay mend {received.version.name} FOLDER`; then run this again: only what was bad is fetched"
        )


def _show_received(console: Console, received: Received) -> None:
    fetched, version = received.fetched, received.version
    if not fetched.whole:
        console.print(
            f"[bold]{version.name}[/] is refused: {count(len(fetched.faults), 'file')} of {version.files:,} bad."
        )
        _show_faults(console, fetched.faults)
        return
    console.print(
        f"[bold]{version.name}[/] arrived whole in {fetched.target}: {count(version.files, 'file')}, "
        f"{bytes_in_words(version.size)}, every byte verified. Receipt: entry {received.receipt.entry}."
    )
    if fetched.reused_bytes:
        console.print(f"{bytes_in_words(fetched.reused_bytes)} came from versions that were here already.")


def _show_faults(console: Console, faults: tuple[Fault, ...] | list[Fault]) -> None:
    for fault in faults[:SHOWN_FAULTS]:
        console.print(f"  {fault}")
    if len(faults) > SHOWN_FAULTS:
        console.print(f"  and {len(faults) - SHOWN_FAULTS} more; --json lists all")


def verify(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="A folder that should hold a version.")],
    version: Annotated[str, typer.Argument(help="Which version, such as A/R03/v3; or a reel, for its newest.")],
    as_json: AsJson = False,
) -> None:
    """Compare a folder with a version, byte for byte. Changes nothing and signs nothing."""
    with open_desk(context.obj) as desk, watching(f"verifying {version}", quiet=as_json) as watcher:
        named = desk.ledger.follow().version(version)
        faults = verify_folder(folder, desk.manifests.read(named.manifest), watcher=watcher)
    facts = {
        "version": named.name,
        "folder": str(folder),
        "whole": not faults,
        "faults": [fault._asdict() for fault in faults],
    }
    answer(facts, as_json=as_json, show=lambda console: _show_verified(console, folder, named, faults))
    if faults:
        raise BrokenError(
            f"{folder} is not {named.name}: {count(len(faults), 'file')} differ. Fetch it again into another folder"
        )


def _show_verified(console: Console, folder: Path, version: Version, faults: list[Fault]) -> None:
    if not faults:
        console.print(f"{folder} is {version.name}: {count(version.files, 'file')}, every byte as the manifest says.")
    _show_faults(console, faults)


def mend(
    context: typer.Context,
    version: Annotated[str, typer.Argument(help="The version that arrives broken, such as A/R03/v3.")],
    folder: Annotated[Path, typer.Argument(help="A folder with a good copy of it.")],
    everything: Annotated[
        bool, typer.Option("--all", help="Look at every object of the version, not only at those that receipts name.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Replace what went bad in the store by a good copy. For the coordinator, and for sites that may mend."""
    with open_desk(context.obj) as desk, watching(f"mending {version}", quiet=as_json) as watcher:
        mended = mend_version(desk, version, folder, everything=everything, watcher=watcher)
    facts = {"version": mended.version, "mended": list(mended.objects), "entry": mended.entry}
    said = (
        f"{count(len(mended.objects), 'object')} of {mended.version} mended; see entry {mended.entry}."
        if mended.objects
        else f"nothing of {mended.version} needed mending."
    )
    answer(facts, as_json=as_json, show=lambda console: console.print(said))


@export.command("bag")
def bag(
    context: typer.Context,
    version: Annotated[str, typer.Argument(help="Which version, such as A/R03/v3; or a reel, for its newest.")],
    target: Annotated[Path, typer.Argument(help="The new folder that becomes the bag.")],
    as_json: AsJson = False,
) -> None:
    """Write a version as a bag (RFC 8493), which archives can check with tools of their own."""
    with open_desk(context.obj) as desk, watching(f"exporting {version}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        named = state.version(version)
        manifest: Manifest = desk.manifests.read(named.manifest)
        element = state.film().element_of(desk.ledger.state.reel(named.name.rpartition("/")[0]))
        info = {
            "Source-Organization": state.film().title,
            "External-Identifier": named.name,
            "External-Description": f"{element.title if element else ''}, held by {element.holder if element else ''}",
            "Bagging-Date": f"{desk.clock.now():%Y-%m-%d}",
        }
        exported = export_bag(manifest, desk.store, target, desk.notebook, info, watcher=watcher)
    facts = {"version": named.name, "bag": str(target), "files": len(manifest.files), "bytes": manifest.size()}
    if not exported.whole:
        raise BrokenError(
            f"{named.name} cannot be exported, {count(len(exported.faults), 'file')} of it bad: {exported.faults[0]}. "
            "Fetch it, so that a receipt tells who can mend it"
        )
    answer(
        facts,
        as_json=as_json,
        show=lambda console: console.print(
            f"{target} is {named.name} as a bag: {count(len(manifest.files), 'file')}, "
            f"{bytes_in_words(manifest.size())}, verified."
        ),
    )
