"""`relay reel`: reels, their versions, and what differs between two."""

from collections.abc import Sequence
from typing import Annotated

import typer
from rich.console import Console

from relay.cli.answer import AsJson, answer, bytes_in_words, count, tabled
from relay.cli.production import length_in_words
from relay.errors import MissingError
from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.ledger.state import Receipt, State, Version
from relay.media.compare import Changes, Scanned, compare
from relay.media.sequence import picture_of
from relay.model import FrameRange, ReelName, ScanMap, VersionName, ranges_of, reel_of
from relay.transfer.desk import Desk
from relay.wiring import open_desk

app = typer.Typer(no_args_is_help=True)


@app.command("list")
def list_reels(context: typer.Context, as_json: AsJson = False) -> None:
    """List every reel: its newest version, who sent it, and where it arrived whole."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
    reels = [(reel, state.of_reel(reel)) for reel in state.film().reel_names()]
    facts = {
        "reels": [
            {"reel": reel, "newest": versions[-1].name if versions else None, "versions": len(versions)}
            for reel, versions in reels
        ]
    }
    heads = ("reel", "element", "newest", "sent by", "when (UTC)", "whole at", "refused by")
    answer(
        facts,
        as_json=as_json,
        show=lambda console: console.print(tabled(heads, [_row(state, *each) for each in reels])),
    )


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
    reel: Annotated[str, typer.Argument(help="Which reel: ELEMENT/REEL, such as A/R03.")],
    as_json: AsJson = False,
) -> None:
    """Show a reel's whole history: each version, what it was made from, its frames and its receipts."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        named = state.reel(reel)
        versions = state.of_reel(named)
        frames = {version.name: _frames_in(desk, version) for version in versions}
    facts = {"reel": named, "versions": [_facts(version, frames[version.name]) for version in versions]}
    answer(facts, as_json=as_json, show=lambda console: _show(console, state, named, frames))


def _frames_in(desk: Desk, version: Version) -> tuple[FrameRange, ...]:
    if version.scan_map is None:
        return ()
    picture = picture_of(desk.manifests.read(version.manifest))
    frames = (version.scan_map.reel_frame(number) for number in picture.numbers()) if picture else ()
    return ranges_of({frame for frame in frames if frame is not None})


def _facts(version: Version, frames: Sequence[FrameRange]) -> dict[str, object]:
    whole, refused = standing(version)
    return {
        "version": version.name,
        "by": version.by,
        "time": version.time.isoformat(),
        "entry": version.entry,
        "files": version.files,
        "bytes": version.size,
        "frames": [[each.first, each.last] for each in frames],
        "parents": list(version.parents),
        "note": version.note,
        "manifest": version.manifest,
        "whole_at": whole,
        "refused_by": refused,
    }


def _show(console: Console, state: State, reel: ReelName, frames: dict[VersionName, tuple[FrameRange, ...]]) -> None:
    element = state.film().element_of(reel)
    if element is None:
        raise MissingError(f"the production has no element for {reel}")
    can = next((each.frames for each in element.reels if each.name == reel.partition("/")[2]), None)
    console.print(f"[bold]{reel}[/]  {element.title}, {element.kind}, {element.gauge}, held by {element.holder}")
    if can:
        console.print(f"{count(can, 'frame')} by the can, {length_in_words(element, can)}")
    for version in state.of_reel(reel):
        console.print()
        console.print(
            f"[bold]{version.name}[/]  {version.time:%Y-%m-%d %H:%M} UTC, sent by {version.by}, entry {version.entry}"
        )
        _show_version(console, version, frames[version.name], element.gauge)
    if not state.of_reel(reel):
        console.print("Nothing of it was sent yet.")


def _show_version(console: Console, version: Version, frames: tuple[FrameRange, ...], gauge: str) -> None:
    console.print(f"   {count(version.files, 'file')}, {bytes_in_words(version.size)}")
    if frames:
        number = sum(each.last - each.first + 1 for each in frames)
        ends = " to ".join(format_footage(at, parse_gauge(gauge)) for at in (frames[0].first, frames[-1].last))
        console.print(f"   {count(number, 'frame')}: {in_words(frames)} ({ends})")
    if version.parents:
        console.print(f"   made from {', '.join(version.parents)}")
    if version.note:
        console.print(f"   note: {version.note}")
    for receipt in version.receipts:
        said = "received whole" if receipt.whole else f"refused: {count(receipt.faults_in_all, 'bad file')}"
        console.print(f"   {receipt.time:%Y-%m-%d %H:%M} UTC, {receipt.site} {said}, entry {receipt.entry}")


def in_words(frames: Sequence[FrameRange], most: int = 12) -> str:
    """Return ranges of frames as people write them; the last ones counted where there are many."""
    shown = ", ".join(str(each) for each in frames[:most])
    return shown + (f" and {len(frames) - most} more ranges" if len(frames) > most else "") if frames else "none"


@app.command("compare")
def compare_versions(
    context: typer.Context,
    before: Annotated[str, typer.Argument(help="A version, such as A/R03/v3.")],
    after: Annotated[str, typer.Argument(help="Another one, such as A/R03/v5.")],
    as_json: AsJson = False,
) -> None:
    """Compare two versions: which of the reel's frames were added, changed, or taken away."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        one, two = state.version(before), state.version(after)
        changes = compare(_scanned(desk, one), _scanned(desk, two))
    facts = {
        "before": one.name,
        "after": two.name,
        "frames": {
            "added": _pairs(changes.added),
            "changed": _pairs(changes.changed),
            "removed": _pairs(changes.removed),
        },
        "files": {
            "added": list(changes.files_added),
            "changed": list(changes.files_changed),
            "removed": list(changes.files_removed),
        },
        "unplaced": list(changes.unplaced),
    }
    answer(facts, as_json=as_json, show=lambda console: _show_changes(console, one, two, changes))


def _scanned(desk: Desk, version: Version) -> Scanned:
    return Scanned(desk.manifests.read(version.manifest), version.scan_map or ScanMap.start_mark(0))


def _pairs(frames: Sequence[FrameRange]) -> list[list[int]]:
    return [[each.first, each.last] for each in frames]


def _show_changes(console: Console, one: Version, two: Version, changes: Changes) -> None:
    across = (
        ""
        if reel_of(one.name) == reel_of(two.name)
        else " (two reels: their frame numbers may not mean the same picture)"
    )
    console.print(f"From {one.name} to {two.name}{across}:")
    for what, frames in (("added", changes.added), ("changed", changes.changed), ("removed", changes.removed)):
        number = sum(each.last - each.first + 1 for each in frames)
        console.print(f"   frames {what}: " + (f"{number:,} ({in_words(frames)})" if frames else "none"))
    for what, files in (
        ("added", changes.files_added),
        ("changed", changes.files_changed),
        ("removed", changes.files_removed),
    ):
        if files:
            console.print(
                f"   other files {what}: {', '.join(files[:8])}"
                + (f" and {len(files) - 8} more" if len(files) > 8 else "")
            )
