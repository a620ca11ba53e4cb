"""`relay cut`: cut lists checked, pulled, compared and written in another form."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.cut import Handles, Held, ListText, Near, RateText, ground_of, pulls_of, read_list
from relay.cli.making import writing
from relay.cli.numbers import pairs_of
from relay.cli.progress import watching
from relay.errors import BrokenError, MissingError, RefusedError
from relay.film.rates import format_rate, format_running_time
from relay.ledger.state import State
from relay.model import FrameRange, Production, ReelName, frame_count
from relay.programme.checking import Found, check
from relay.programme.cutlist import CutList
from relay.programme.edl import edl
from relay.programme.otio_form import otio_form
from relay.programme.own_form import own_form
from relay.programme.pulling import HANDLES, NEAR, Difference, Pull, as_csv, hours, pull_edl, recut
from relay.transfer.desk import Desk
from relay.transfer.pulling import CSV_HEADS, Pulled, all_pulled, csv_lines, fetch_pulled, holdings, pulled
from relay.wiring import open_desk
from relay.wording import in_words

app = typer.Typer(no_args_is_help=True)
_TOLD = 200
"""Findings in a table; a script gets all of them."""


@app.command("check")
def check_list(
    context: typer.Context, cut_list: ListText, rate: RateText = "24", held: Held = False, as_json: AsJson = False
) -> None:
    """Hold a cut list against what there is of each reel.

    Frames that no version holds, and which other print has them, where prints were put side by side; frames that no
    accepted version holds, beyond their reel, or used twice; holes and overlaps. Exit code 2: it cannot be put together
    so.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        cut = read_list(desk, state, cut_list, ground_of(state.film(), rate, held=held), whole=False)
        found = check(cut, holdings(desk, state, cut))
    blocking = [each for each in found if each.blocks]
    facts = {
        "list": cut_list,
        "rate": str(cut.rate),
        "events": len(cut.events),
        "places": cut.length(),
        "blocking": len(blocking),
        "found": [{**each._asdict(), "frames": [each.frames.first, each.frames.last]} for each in found],
    }
    answer(facts, as_json=as_json, show=lambda page: _show_check(page, cut, found))
    if blocking:
        first = blocking[0]
        raise RefusedError(
            f"{cut_list} cannot be put together: {count(len(blocking), 'finding')}, the first in line {first.line}, "
            f"{first.kind}: {first.reel} {first.frames}"
        )


def _show_check(page: Page, cut: CutList, found: Sequence[Found]) -> None:
    lasts = format_running_time(cut.length() / cut.rate)
    slates = sum(event.is_slate for event in cut.events)
    wipes = sum(event.wipe is not None for event in cut.events)
    dissolves = sum(event.dissolve > 0 for event in cut.events) - wipes
    page.line(
        f", {cut.length():,} frames at {format_rate(cut.rate)} a second, {lasts}; {count(slates, 'slate')}, "
        f"{count(dissolves, 'dissolve')}, {count(wipes, 'wipe')}.",
        head=count(len(cut.events), "event"),
    )
    if not found:
        page.line("Every frame is there and accepted, no hole, no overlap, nothing twice.")
        return
    rows = [
        (
            "look" if not each.blocks else "wrong",
            each.kind,
            str(each.event),
            str(each.line),
            each.reel,
            str(each.frames),
            each.what,
        )
        for each in found[:_TOLD]
    ]
    page.table(("", "found", "event", "line", "reel", "frames", "what"), rows)
    if len(found) > _TOLD:
        page.line(f"And {len(found) - _TOLD:,} more: --json tells all of them.")


class _Row(NamedTuple):
    """A line of a pull list."""

    pull: Pull
    found: tuple[Pulled, ...]
    hours: Fraction | None
    cost: Decimal | None

    def facts(self) -> dict[str, object]:
        return {
            "reel": self.pull.reel,
            "ranges": pairs_of(self.pull.ranges),
            "lacking": pairs_of(self.pull.lacking),
            "frames": self.pull.frames,
            "bytes": sum(each.manifest.size() for each in self.found),
            "versions": [each.version for each in self.found],
            "hours": None if self.hours is None else float(self.hours),
            "cost": None if self.cost is None else str(self.cost),
        }


def _rows(desk: Desk, state: State, pulls: Sequence[Pull], at: str | None) -> list[_Row]:
    an_hour, price = _worked(state.film(), at)
    return [
        _Row(
            pull,
            pulled(desk, state, pull),
            hours(pull.frames, an_hour) if an_hour else None,
            None if price is None else price * pull.frames,
        )
        for pull in pulls
    ]


def _worked(film: Production, at: str | None) -> tuple[int | None, Decimal | None]:
    """Return the frames an hour and the price of a frame at `STAGE@SITE`. Raises RefusedError."""
    if at is None:
        return None, None
    stage, _, name = at.partition("@")
    site, step = film.site(name), film.stage(stage)
    if site is None or step is None or stage not in site.stages:
        raise RefusedError(f"{at!r} names no stage that a site does: expected STAGE@SITE, such as grade@tokyo")
    price = (site.prices or {}).get(stage)
    return site.rates.get(stage, step.rate), None if price is None else Decimal(price)


At = Annotated[
    str | None, typer.Option("--at", metavar="STAGE@SITE", help="Tell hours and cost there, such as grade@tokyo.")
]


@app.command("pull")
def pull(
    context: typer.Context,
    cut_list: ListText,
    handles: Handles = HANDLES,
    near: Near = NEAR,
    at: At = None,
    sheet: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write it as CSV.")] = None,
    edls: Annotated[Path | None, typer.Option("--edl", metavar="FOLDER", help="Write an EDL for each reel.")] = None,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Tell the pull list: what a cut list needs from each reel.

    With handles, joined where near: frames and bytes to fetch, hours and cost. `relay cut ask` makes a pull list the
    input of a job.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        cut, pulls = pulls_of(desk, state, cut_list, ground_of(state.film(), rate, held=held), handles, near)
        rows = _rows(desk, state, pulls, at)
        currency = state.film().currency
    if sheet is not None:
        _write(sheet, as_csv((line for row in rows for line in csv_lines(row.found)), CSV_HEADS))
    if edls is not None:
        for row in rows:
            if row.pull.ranges:
                _write(edls / f"{row.pull.reel.replace('/', '_')}.edl", pull_edl(row.pull, cut.rate), folder=True)
    total: dict[str, object] = {
        "frames": sum(row.pull.frames for row in rows),
        "bytes": sum(each.manifest.size() for row in rows for each in row.found),
    }
    facts = {"list": cut_list, "currency": currency, **total, "reels": [row.facts() for row in rows]}
    answer(facts, as_json=as_json, show=lambda page: _show_pull(page, rows, currency or ""))


def _show_pull(page: Page, rows: Sequence[_Row], currency: str) -> None:
    page.table(
        ("reel", "frames", "which", "size", "from", "hours", f"cost {currency}".strip(), "lacking"),
        [
            (
                row.pull.reel,
                f"{row.pull.frames:,}",
                in_words(row.pull.ranges, 6) if row.pull.ranges else "none",
                bytes_in_words(sum(each.manifest.size() for each in row.found)),
                ", ".join(each.version for each in row.found),
                "" if row.hours is None else f"{float(row.hours):.1f}",
                "" if row.cost is None else f"{row.cost:,}",
                in_words(row.pull.lacking, 6) if row.pull.lacking else "",
            )
            for row in rows
        ],
    )


@app.command("fetch")
def fetch_list(
    context: typer.Context,
    cut_list: ListText,
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="A folder; each version gets one in it.")],
    handles: Handles = HANDLES,
    near: Near = NEAR,
    have: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FOLDER", help="Where frames were fetched before: they do not come again. May be repeated."
        ),
    ] = None,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Fetch just the frames that a cut list needs.

    Only these come over the line, and for a re-cut only what was not fetched before (--have); every byte is verified
    before their folders appear. No receipt is signed, since no version arrives whole. Interrupted? Run the same command
    again; it goes on where it was.
    """
    if lacks := [folder for folder in have or () if not folder.is_dir()]:
        raise MissingError(f"there is no folder {lacks[0]}: name one that `relay cut fetch` filled before")
    with open_desk(context.obj) as desk, watching(f"fetching for {cut_list}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        _, pulls = pulls_of(desk, state, cut_list, ground_of(state.film(), rate, held=held), handles, near)
        found = all_pulled(desk, state, pulls)
        came = fetch_pulled(desk, found, target, have or (), watcher)
    faults = [fault for each in came.values() for fault in each.faults]
    facts = {
        "target": str(target),
        "frames": sum(frame_count(each.frames) for each in found),
        "bytes": sum(each.manifest.size() for each in found),
        "fetched_bytes": sum(each.fetched_bytes for each in came.values()),
        "folders": [str(each.target) for each in came.values()],
        "faults": [fault._asdict() for fault in faults],
    }
    answer(facts, as_json=as_json, show=lambda page: _show_fetched(page, facts))
    if faults:
        raise BrokenError(
            f"{count(len(faults), 'frame')} did not come whole, the first: {faults[0]}; `relay mend` helps"
        )


def _show_fetched(page: Page, facts: Mapping[str, object]) -> None:
    size, over = (bytes_in_words(int(str(facts[name]))) for name in ("bytes", "fetched_bytes"))
    page.line(
        f", {size}, are in {facts['target']}, every byte verified; {over} came over the line.",
        head=count(int(str(facts["frames"])), "frame"),
    )


@app.command("differ")
def differ(
    context: typer.Context,
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="The list that was worked from.")],
    now: Annotated[str, typer.Argument(metavar="NOW", help="The re-cut list.")],
    handles: Handles = HANDLES,
    near: Near = NEAR,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Tell what a re-cut list changes.

    What to fetch, what to process again, what to drop.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        ground = ground_of(state.film(), rate, held=held)
        old, new = (read_list(desk, state, each, ground) for each in (before, now))
    found = recut(old, new, handles, near)
    facts = {
        "before": before,
        "now": now,
        "kept": found.kept,
        "anew": pairs_of(found.anew),
        "reels": [
            {
                "reel": each.reel,
                "fetch": pairs_of(each.fetch),
                "process": pairs_of(each.process),
                "drop": pairs_of(each.drop),
            }
            for each in found.reels
        ],
    }

    def show(page: Page) -> None:
        page.line(f" stay as they are; {_places(found.anew)} of the programme to be put together anew.",
                  head=count(found.kept, "frame"))  # fmt: skip
        if found.reels:
            page.table(("reel", "fetch", "process again", "drop"), [_changed(each) for each in found.reels])

    answer(facts, as_json=as_json, show=show)


def _places(ranges: Sequence[FrameRange]) -> str:
    return f"{count(frame_count(ranges), 'place')} ({in_words(ranges, 6)})" if ranges else "no place"


def _changed(each: Difference) -> tuple[ReelName, str, str, str]:
    told = [in_words(ranges, 6) if ranges else "" for ranges in (each.fetch, each.process, each.drop)]
    return each.reel, told[0], told[1], told[2]


@app.command("write")
def write(
    context: typer.Context,
    cut_list: ListText,
    target: Annotated[Path, typer.Argument(metavar="FILE", help="A new file: .edl, .otio or .toml.")],
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Write a cut list in another form: EDL, OTIO or TOML."""
    forms = {".edl": edl, ".otio": otio_form, ".toml": own_form}
    if target.suffix not in forms:
        raise RefusedError(f"{target} says no form: expected a name that ends in {', '.join(forms)}")
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        cut = read_list(desk, state, cut_list, ground_of(state.film(), rate, held=held))
    try:
        body = forms[target.suffix](cut)
    except ValueError as fault:
        raise RefusedError(f"{cut_list} cannot be written as {target.suffix}: {fault}") from fault
    _write(target, body)
    facts = {"target": str(target), "events": len(cut.events), "places": cut.length()}
    answer(
        facts,
        as_json=as_json,
        show=lambda page: page.line(" are in " + str(target) + ".", head=f"{len(cut.events)} events"),
    )


def _write(path: Path, body: str, *, folder: bool = False) -> None:
    with writing(path):
        if folder:
            path.parent.mkdir(exist_ok=True)
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(body)
        except FileExistsError as error:
            raise RefusedError(f"{path} exists: give another name, or move it away first") from error
