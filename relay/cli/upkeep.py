"""`relay verify`, `mend` and `export`: a version looked at, mended, written for others."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.progress import watching
from relay.cli.typed import VersionText
from relay.errors import BrokenError
from relay.ledger.state import Version
from relay.model import reel_of
from relay.transfer.bag import export_bag
from relay.transfer.faults import Fault
from relay.transfer.handover import check_held
from relay.transfer.mending import MendedVersion, mend_version
from relay.transfer.verify import verify as verify_folder
from relay.wiring import open_desk

export = typer.Typer(no_args_is_help=True)

SHOWN_FAULTS = 20


def show_faults(page: Page, faults: Sequence[Fault]) -> None:
    """Show what is wrong with a package, a line for each bad file."""
    for fault in faults[:SHOWN_FAULTS]:
        page.line(f"  {fault}")
    if len(faults) > SHOWN_FAULTS:
        page.line(f"  and {len(faults) - SHOWN_FAULTS} more; --json lists all")


def verify(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder that should hold a version.")],
    version: VersionText,
    as_json: AsJson = False,
) -> None:
    """Compare a folder with a version.

    Byte for byte, against the version's manifest. Changes nothing and signs nothing.
    """
    with open_desk(context.obj) as desk, watching(f"verifying {version}", quiet=as_json) as watcher:
        named = desk.ledger.follow().version(version)
        faults = verify_folder(folder, desk.manifests.read(named.manifest), watcher=watcher)
    facts = {
        "version": named.name,
        "folder": str(folder),
        "whole": not faults,
        "faults": [fault._asdict() for fault in faults],
    }
    answer(facts, as_json=as_json, show=lambda page: _show_verified(page, folder, named, faults))
    if faults:
        raise BrokenError(
            f"{folder} is not {named.name}: {count(len(faults), 'file')} differ. Fetch it again into another folder"
        )


def _show_verified(page: Page, folder: Path, version: Version, faults: list[Fault]) -> None:
    if not faults:
        page.line(f"{folder} is {version.name}: {count(version.files, 'file')}, every byte as the manifest says.")
    show_faults(page, faults)


def mend(
    context: typer.Context,
    version: Annotated[
        str, typer.Argument(metavar="VERSION", help="The version that arrives broken, such as A/R03/v3.")
    ],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder with a good copy of it.")],
    everything: Annotated[
        bool, typer.Option("--all", help="Look at every object of the version, not only at those that receipts name.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Mend what went bad in the store.

    Objects whose bytes no longer fit their names are replaced from a good copy. For the coordinator, and for sites that
    may mend.
    """
    with open_desk(context.obj) as desk, watching(f"mending {version}", quiet=as_json) as watcher:
        mended = mend_version(desk, version, folder, everything=everything, watcher=watcher)
    facts = {
        "version": mended.version,
        "mended": list(mended.objects),
        "entry": mended.entry,
        "looked_at": mended.looked_at,
    }
    answer(facts, as_json=as_json, show=lambda page: page.line(_said_of(mended)))


def _said_of(mended: MendedVersion) -> str:
    if mended.objects:
        return f"{count(len(mended.objects), 'object')} of {mended.version} mended; see entry {mended.entry}."
    if mended.looked_at:
        return f"nothing of {mended.version} needed mending: {count(mended.looked_at, 'file')} looked at in the store."
    return (
        f"no receipt names anything of {mended.version} that is wrong in the store, so none of its files was looked "
        f"at. To look at all of it: `relay mend {mended.version} FOLDER --all`."
    )


@export.command("bag")
def bag(
    context: typer.Context,
    version: VersionText,
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="The new folder that becomes the bag.")],
    as_json: AsJson = False,
) -> None:
    """Write a version as a bag (RFC 8493).

    Archives can check it with tools of their own.
    """
    with open_desk(context.obj) as desk, watching(f"exporting {version}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        named = state.version(version)
        check_held(named)
        manifest = desk.manifests.read(named.manifest)
        element = state.film().element_of(reel_of(named.name))
        info = {
            "Source-Organization": state.film().title,
            "External-Identifier": named.name,
            "External-Description": f"{element.title if element else ''}, held by {element.holder if element else ''}",
            "Bagging-Date": f"{desk.now():%Y-%m-%d}",
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
        show=lambda page: page.line(
            f"{target} is {named.name} as a bag: {count(len(manifest.files), 'file')}, "
            f"{bytes_in_words(manifest.size())}, verified."
        ),
    )
