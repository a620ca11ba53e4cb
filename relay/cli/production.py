"""`relay production`: create, revise and show."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.production_file import read_production
from relay.cli.progress import waiting
from relay.cli.typed import Reason
from relay.errors import MissingError, RefusedError, RelayError
from relay.film.length import length_in_words
from relay.ledger import roster, work
from relay.ledger.entry import ENTRY_LIMIT, read_entry
from relay.ledger.keys import Pen, key_id, load_pen
from relay.ledger.state import ROOT, State
from relay.model import Element, Production, Reel, ReelName, Stage
from relay.settings import Home, SiteFile
from relay.store.keys import entry_key
from relay.store.port import Store
from relay.store.probe import check_promises, probe
from relay.wiring import found_store, full_address, open_desk, open_ledger, open_store

app = typer.Typer(no_args_is_help=True)


@app.command()
def create(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The production's TOML file.")],
    store: Annotated[
        str,
        typer.Option(
            metavar="STORE", help="Where the production shall lie: a folder, or s3://BUCKET/PREFIX?endpoint=URL."
        ),
    ],
    as_json: AsJson = False,
) -> None:
    """Create a production.

    The store is asked for its promises, the keys are made, and entry 0 is written. The home becomes the coordinator's.
    The root key lies beside the coordinator's key at first: move it to a drive in a safe, since it alone can replace a
    lost or stolen coordinator's key.
    """
    home: Home = context.obj
    production = read_production(file)
    _check_home(home, production, store)
    home.make()
    try:
        place = found_store(store)
        with waiting("asking the store for its promises; this may take a minute", quiet=as_json):
            check_promises(probe(place, open_store(store)))
        _check_unused(place, home)
    except RelayError:
        home.drop_if_empty()
        raise
    root, coordinator = _pen(ROOT, home.root_key), _pen(production.coordinator, home.key)
    site = SiteFile(
        site=production.coordinator, production=production.name, root=key_id(root.public), store=full_address(store)
    )
    ledger = open_ledger(home, place, site.root)
    entry = roster.found(ledger, production, root, coordinator)
    home.write(site)
    work.open_due(ledger, coordinator)
    facts = {"production": production.name, "store": place.name, "root": site.root, "created": entry is not None}
    answer(facts, as_json=as_json, show=lambda page: _say_created(page, production, home, entry is not None))


def _check_home(home: Home, production: Production, store: str) -> None:
    """Refuse a home that is somebody's already, unless this very production was created in it before."""
    if not home.site_file.exists():
        return
    found = home.read()
    if (found.site, found.production, found.store) != (production.coordinator, production.name, full_address(store)):
        raise RefusedError(
            f"{home.folder} is the home of {found.site} in the production {found.production} at {found.store}: "
            "name another home with --home"
        )


def _check_unused(place: Store, home: Home) -> None:
    """Refuse a store in which another production lies, before any key is made."""
    try:
        first = read_entry(place.read(entry_key(0), ENTRY_LIMIT), 0)
    except MissingError:
        return
    if not home.root_key.exists() or first.body.key != key_id(load_pen(ROOT, home.root_key).public):
        raise RefusedError(f"another production lies in {place.name} already: choose another folder or prefix")


def _pen(name: str, path: Path) -> Pen:
    if not path.exists():
        Pen.fresh(name).save(path)
    return load_pen(name, path)


def _say_created(page: Page, production: Production, home: Home, is_new: bool) -> None:
    page.line(f"{production.title}: {'created' if is_new else 'was created before; nothing was changed'}.")
    page.line(f"This home, {home.folder}, is {production.coordinator}, the coordinator.")
    page.line(f"Move {home.root_key} to a drive in a safe: it alone can replace the coordinator's key.")
    page.line("Next: `relay site invite NAME` for each site that works or lends.")


@app.command()
def revise(
    context: typer.Context,
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The production's TOML file, as it shall be from now on.")
    ],
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """Change the production.

    More elements, another site, another date of return: whatever its file says by now.
    """
    production = read_production(file)
    with open_desk(context.obj) as desk:
        entry = roster.revise(desk.ledger, desk.pen, production, reason)
        work.open_due(desk.ledger, desk.pen)
    said = f"revised with entry {entry.sequence}" if entry else "nothing in the file is new: nothing was said"
    facts = {"production": production.name, "entry": entry.sequence if entry else None}
    answer(facts, as_json=as_json, show=lambda page: page.line(f"{production.title}: {said}."))


@app.command()
def show(context: typer.Context, as_json: AsJson = False) -> None:
    """Show premiere, elements and reels.

    With their lengths, the terms of each loan, and how far each reel is.
    """
    with open_desk(context.obj) as desk:
        state, now = desk.ledger.follow(), desk.now()
    facts = {"production": state.film().model_dump(mode="json", by_alias=True), "entries": state.sequence + 1}
    answer(facts, as_json=as_json, show=lambda page: _show(page, state, now))


def _show(page: Page, state: State, now: datetime) -> None:
    film = state.film()
    left = film.premiere.instant() - now
    when = f"{film.premiere.at:%d %B %Y %H:%M} in {film.premiere.zone}, {film.premiere.venue}"
    page.line(f"  ({film.name})", head=film.title)
    page.line(f"Premiere: {when}" + (f", in {count(left.days, 'day')}" if left.days >= 0 else ", which is past"))
    page.line()
    for element in film.elements:
        described = f"{element.title}: {element.kind}, {element.gauge}, {element.base}, held by {element.holder}"
        page.line(f"  {described}", head=element.code)
        if element.base == "nitrate":
            page.line("   Nitrate burns and decays: handle it by the local code and with licensed practice.")
        if element.loan:
            page.line(
                f"   due back {element.loan.due_back:%d %B %Y}; credit: {element.loan.credit}; "
                f"for: {element.loan.permitted_use}"
            )
        page.table(
            ("   reel", "frames", "length", "newest", "from"),
            [_reel_row(state, element, reel) for reel in element.reels],
        )
        page.line()
    if film.route:
        page.line("Route: " + "; ".join(_stage(film, stage) for stage in film.route))


def _stage(film: Production, stage: Stage) -> str:
    due, said = film.due(stage), [f"{stage.name} after {' and '.join(stage.after)}" if stage.after else stage.name]
    said += [f"received by {stage.received_by}"] if stage.received_by else []
    said += [f"accepted by {' or '.join(stage.accepted_by)}"] if stage.accepted_by else []
    said += [f"due {due:%d %B %Y %H:%M} UTC"] if due else []
    return ", ".join(said)


def _reel_row(state: State, element: Element, reel: Reel) -> tuple[str, ...]:
    versions = state.of_reel(ReelName(f"{element.code}/{reel.name}"))
    newest = versions[-1] if versions else None
    return (
        f"   {element.code}/{reel.name}",
        f"{reel.frames:,}" if reel.frames else "not counted",
        length_in_words(element, reel.frames) if reel.frames else "",
        newest.name if newest else "nothing sent",
        newest.by if newest else "",
    )
