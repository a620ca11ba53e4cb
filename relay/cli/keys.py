"""Keys lost, stolen or moved: taking over as coordinator, a new root key, another address for the store."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, answer
from relay.cli.typed import Reason
from relay.errors import RefusedError
from relay.ledger import roster
from relay.ledger.keys import Pen, key_id, load_pen
from relay.ledger.state import ROOT
from relay.settings import Home, SiteFile
from relay.wiring import full_address, open_desk, open_ledger, open_store

RootKey = Annotated[Path, typer.Option("--root-key", metavar="FILE", help="The root key, from its safe.")]


def take_over(
    context: typer.Context,
    store: Annotated[str, typer.Option(metavar="STORE", help="Where the production lies.")],
    root_key: RootKey,
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """Become the coordinator in a new home.

    With the root key, after a lost laptop or a stolen key. The old coordinator's key stops counting with this entry.
    What it said before stands: look through it.
    """
    home: Home = context.obj
    if home.site_file.exists():
        raise RefusedError(f"{home.folder} is already {home.read().site}'s home: name a new one with --home")
    root = load_pen(ROOT, root_key)
    place, pinned = open_store(store), key_id(root.public)
    home.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    ledger = open_ledger(home, place, None)
    film = ledger.follow().film()
    first = ledger.state.root or pinned
    fresh = Pen.fresh(film.coordinator)
    if not home.key.exists():
        fresh.save(home.key)
    entry = roster.replace_key(ledger, root, film.coordinator, load_pen(film.coordinator, home.key).public, reason)
    home.write(SiteFile(site=film.coordinator, production=film.name, root=first, store=full_address(store)))
    said = (
        f"{home.folder} is {film.coordinator} since entry {entry.sequence}; its former key counts no more. "
        "Look through what it said last: `relay ledger show`. Put the root key back into its safe."
    )
    answer({"site": film.coordinator, "entry": entry.sequence}, as_json=as_json, show=lambda page: page.line(said))


def new_root(
    context: typer.Context,
    root_key: RootKey,
    into: Annotated[
        Path,
        typer.Option("--into", metavar="FILE", help="Where to write the new root key: a drive that goes into a safe."),
    ],
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """Replace the root key, signed by the old one.

    Sites go on as they are: they follow the ledger from entry 0.
    """
    old = load_pen(ROOT, root_key)
    if not into.exists():
        Pen.fresh(ROOT).save(into)
    with open_desk(context.obj) as desk:
        entry = roster.replace_key(desk.ledger, old, ROOT, load_pen(ROOT, into).public, reason)
    said = f"{into} is the root key since entry {entry.sequence}. Put it into a safe and destroy the old one."
    answer({"root": str(into), "entry": entry.sequence}, as_json=as_json, show=lambda page: page.line(said))


def move(
    context: typer.Context,
    store: Annotated[
        str, typer.Argument(metavar="STORE", help="The new address, with everything copied there already.")
    ],
    as_json: AsJson = False,
) -> None:
    """Use the store at another address.

    Once the copy of the production that lies there shows all that this site has seen.
    """
    home: Home = context.obj
    site = home.read()
    ledger = open_ledger(home, open_store(store), site.root)
    state = ledger.follow()  # refuses a copy that shows less than this site saw, or another history
    home.write(site.model_copy(update={"store": full_address(store)}))
    said = f"{site.site} uses {store} from now on; it shows {state.sequence + 1} entries, all that this site had seen."
    answer({"store": store, "entries": state.sequence + 1}, as_json=as_json, show=lambda page: page.line(said))
