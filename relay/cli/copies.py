"""`relay copies`: where whole, verified copies of a version are, and when each was last looked at."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.progress import watching
from relay.cli.typed import VersionText
from relay.errors import BrokenError
from relay.ledger.state import State, Version
from relay.transfer.fixity import Pace, check_copy
from relay.wiring import open_desk

WANTED_COPIES, WANTED_PLACES = 3, 2
"""NDSA Levels of Digital Preservation v2.0: three copies, one of them in another place."""

FULL_SPEED = 10**12


class Copy(NamedTuple):
    """One copy, by the newest word about it."""

    where: str
    place: str
    """The town or the bucket: copies in one place burn together."""
    looked: datetime
    outcome: str
    entry: int


def copies(
    context: typer.Context,
    version: VersionText,
    check: Annotated[bool, typer.Option("--check", help="Read the copy in the bucket again, now.")] = False,
    drive: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Read the copy in this folder, on a shuttle drive, and note it."),
    ] = None,
    label: Annotated[
        str | None,
        typer.Option(metavar="TEXT", help="With --drive: what is written on the drive.", show_default="the folder"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say where whole copies of a version are. Warns under three copies in two places."""
    with open_desk(context.obj) as desk, watching(f"checking {version}", quiet=as_json):
        named = desk.ledger.follow().version(version)
        if check:
            check_copy(desk, named, "bucket", None, Pace(desk.clock, FULL_SPEED))
        if drive is not None:
            check_copy(desk, named, "drive", drive.absolute(), Pace(desk.clock, FULL_SPEED), label)
        state = desk.ledger.state
        named = state.versions[named.name]
    found = copies_of(state, named)
    warning = _warning(found)
    facts = {"version": named.name, "copies": [each._asdict() for each in found], "warning": warning}
    answer(facts, as_json=as_json, show=lambda page: _show(page, named, found, warning))
    if bad := [each for each in found if each.outcome == "bad"]:
        raise BrokenError(f"{named.name} is bad in {', '.join(each.where for each in bad)}: see `relay mend`")


def copies_of(state: State, version: Version) -> list[Copy]:
    """Return every copy of `version` that somebody vouched for, by the newest word about each."""
    found: dict[str, Copy] = {}
    for receipt in version.receipts:
        outcome = "whole" if receipt.whole else "bad"
        found["bucket"] = Copy("the bucket", "bucket", receipt.time, outcome, receipt.entry)
        if receipt.whole and receipt.site != version.by:
            found[receipt.site] = Copy(
                f"{receipt.site}, as it arrived", receipt.site, receipt.time, "whole", receipt.entry
            )
    for check in sorted(version.checks, key=lambda each: each.entry):
        key = {"bucket": "bucket", "site": check.site}.get(check.place, f"{check.site} {check.label}")
        where = {"bucket": "the bucket", "site": f"{check.site}, {check.label}"}.get(
            check.place, f"drive {check.label}, {check.site}"
        )
        if key not in found or found[key].entry < check.entry:
            found[key] = Copy(
                where, "bucket" if key == "bucket" else check.site, check.time, check.outcome, check.entry
            )
    mended = [mending.entry for mending in state.mendings if mending.version == version.name]
    return [_after_mending(copy, mended) for copy in found.values() if copy.outcome != "gone"]


def _after_mending(copy: Copy, mended: list[int]) -> Copy:
    if copy.place == "bucket" and copy.outcome == "bad" and any(entry > copy.entry for entry in mended):
        return copy._replace(outcome="mended, not read again yet")
    return copy


def _warning(found: list[Copy]) -> str | None:
    whole = [copy for copy in found if copy.outcome == "whole"]
    places = {copy.place for copy in whole}
    if len(whole) >= WANTED_COPIES and len(places) >= WANTED_PLACES:
        return None
    return (
        f"{len(whole)} whole in {len(places)} places: {WANTED_COPIES} copies in {WANTED_PLACES} places are wanted. "
        "Fetch it at another site, or put it on a drive and say `relay copies --drive`"
    )


def _show(page: Page, version: Version, found: list[Copy], warning: str | None) -> None:
    rows = [(each.where, each.outcome, f"{each.looked:%Y-%m-%d %H:%M}", str(each.entry)) for each in found]
    page.line(head=version.name)
    if rows:
        page.table(("where", "found", "last read (UTC)", "entry"), rows)
    if warning:
        page.line(f" {warning}.", head="Warning:")
