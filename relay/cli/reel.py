"""`relay reel`: reels, their versions, and what differs between two."""

from collections.abc import Sequence
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.numbers import counted, pairs_of
from relay.cli.typed import ReelText
from relay.errors import MissingError
from relay.film.length import length_in_words
from relay.ledger.state import Receipt, State, Version
from relay.media.compare import Changes, Scanned, compare
from relay.media.sequence import frames_in
from relay.model import FrameRange, ReelName, ScanMap, VersionName, frame_count, reel_of
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import bytes_in_words, count, in_words

app = typer.Typer(no_args_is_help=True)


@app.command("list")
def list_reels(context: typer.Context, as_json: AsJson = False) -> None:
    """List every reel and its newest version.

    Beside it: who sent it, when, and at which sites it arrived whole or was refused.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
    reels = [(reel, state.of_reel(reel)) for reel in state.film().reel_names()]
    facts = {
        "reels": [
            {"reel": reel, "versions": len(versions), "newest": _standing_facts(versions[-1]) if versions else None}
            for reel, versions in reels
        ]
    }
    heads = ("reel", "element", "newest", "sent by", "when (UTC)", "whole at", "refused by")
    answer(facts, as_json=as_json, show=lambda page: page.table(heads, [_row(state, *each) for each in reels]))


def _row(state: State, reel: ReelName, versions: tuple[Version, ...]) -> tuple[str, ...]:
    element = state.film().element_of(reel)
    title = element.title if element else ""
    if not versions:
        return reel, title, "nothing sent", "", "", "", ""
    newest = versions[-1]
    whole, refused = standing(newest)
    return reel, title, newest.name, newest.by, f"{newest.time:%Y-%m-%d %H:%M}", ", ".join(whole), ", ".join(refused)


def standing(version: Version) -> tuple[list[str], list[str]]:
    """Return at which sites `version` arrived whole, and which refused it, by each one's newest receipt."""
    newest: dict[str, Receipt] = {receipt.site: receipt for receipt in version.receipts}
    whole = [site for site, receipt in newest.items() if receipt.whole]
    return whole, [site for site, receipt in newest.items() if not receipt.whole]


@app.command()
def show(
    context: typer.Context,
    reel: ReelText,
    as_json: AsJson = False,
) -> None:
    """Show a reel's whole history.

    For each version: who sent it, what it was made from, its frames, its note and its receipts.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        named = state.reel(reel)
        versions = state.of_reel(named)
        frames = {version.name: _frames_in(desk, version) for version in versions}
    facts = {"reel": named, "versions": [_facts(version, frames[version.name]) for version in versions]}
    answer(facts, as_json=as_json, show=lambda page: _show(page, state, named, frames))


def _frames_in(desk: Desk, version: Version) -> tuple[FrameRange, ...]:
    return frames_in(desk.manifests.read(version.manifest), version.scan_map) if version.scan_map else ()


def _standing_facts(version: Version) -> dict[str, object]:
    whole, refused = standing(version)
    return {
        "version": version.name,
        "by": version.by,
        "time": version.time.isoformat(),
        "whole_at": whole,
        "refused_by": refused,
    }


def _facts(version: Version, frames: Sequence[FrameRange]) -> dict[str, object]:
    return {
        **_standing_facts(version),
        "entry": version.entry,
        "files": version.files,
        "bytes": version.size,
        "frames": pairs_of(frames),
        "parents": list(version.parents),
        "note": version.note,
        "manifest": version.manifest,
    }


def _show(page: Page, state: State, reel: ReelName, frames: dict[VersionName, tuple[FrameRange, ...]]) -> None:
    element = state.film().element_of(reel)
    if element is None:
        raise MissingError(f"the production has no element for {reel}")
    can = next((each.frames for each in element.reels if each.name == reel.partition("/")[2]), None)
    page.line(f"  {element.title}, {element.kind}, {element.gauge}, held by {element.holder}", head=reel)
    if can:
        page.line(f"{count(can, 'frame')} by the can, {length_in_words(element, can)}")
    for version in state.of_reel(reel):
        page.line()
        sent = f"{version.time:%Y-%m-%d %H:%M} UTC, sent by {version.by}, entry {version.entry}"
        page.line(f"  {sent}", head=version.name)
        _show_version(page, version, frames[version.name], element.gauge)
    if not state.of_reel(reel):
        page.line("Nothing of it was sent yet.")


def _show_version(page: Page, version: Version, frames: tuple[FrameRange, ...], gauge: str) -> None:
    page.line(f"   {count(version.files, 'file')}, {bytes_in_words(version.size)}")
    if frames:
        page.line(f"   {counted(frames, gauge)}")
    if version.parents:
        page.line(f"   made from {', '.join(version.parents)}")
    if version.note:
        page.line(f"   note: {version.note}")
    for held in version.conforms:
        lies = f"{count(held.blocking, 'finding')} block" if held.blocking else "lies as it says"
        page.line(f"   {held.time:%Y-%m-%d %H:%M} UTC, {held.site}, against a cut list: {lies}, entry {held.entry}")
    for receipt in version.receipts:
        said = "received whole" if receipt.whole else f"refused: {count(receipt.faults_in_all, 'bad file')}"
        page.line(f"   {receipt.time:%Y-%m-%d %H:%M} UTC, {receipt.site} {said}, entry {receipt.entry}")


@app.command("compare")
def compare_versions(
    context: typer.Context,
    before: Annotated[str, typer.Argument(metavar="VERSION", help="A version, such as A/R03/v3.")],
    after: Annotated[str, typer.Argument(metavar="VERSION", help="Another one, such as A/R03/v5.")],
    as_json: AsJson = False,
) -> None:
    """Tell which frames differ between two versions.

    Frames that were added, changed or removed, in the reel's own numbers; other files by their names.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        one, two = state.version(before), state.version(after)
        changes = compare(_scanned(desk, one), _scanned(desk, two))
    facts = {
        "before": one.name,
        "after": two.name,
        "frames": {
            "added": pairs_of(changes.added),
            "changed": pairs_of(changes.changed),
            "removed": pairs_of(changes.removed),
        },
        "files": {
            "added": list(changes.files_added),
            "changed": list(changes.files_changed),
            "removed": list(changes.files_removed),
        },
        "unplaced": list(changes.unplaced),
    }
    answer(facts, as_json=as_json, show=lambda page: _show_changes(page, one, two, changes))


def _scanned(desk: Desk, version: Version) -> Scanned:
    return Scanned(desk.manifests.read(version.manifest), version.scan_map or ScanMap.start_mark(0))


def _show_changes(page: Page, one: Version, two: Version, changes: Changes) -> None:
    across = (
        ""
        if reel_of(one.name) == reel_of(two.name)
        else " (two reels: their frame numbers may not mean the same picture)"
    )
    page.line(f"From {one.name} to {two.name}{across}:")
    for what, frames in (("added", changes.added), ("changed", changes.changed), ("removed", changes.removed)):
        number = frame_count(frames)
        page.line(f"   frames {what}: " + (f"{number:,} ({in_words(frames)})" if frames else "none"))
    for what, files in (
        ("added", changes.files_added),
        ("changed", changes.files_changed),
        ("removed", changes.files_removed),
    ):
        if files:
            page.line(
                f"   other files {what}: {', '.join(files[:8])}"
                + (f" and {len(files) - 8} more" if len(files) > 8 else "")
            )
