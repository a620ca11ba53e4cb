"""`relay site`: who belongs to the production."""

from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from relay.cli.answer import AsJson, answer
from relay.clock import SYSTEM_CLOCK
from relay.errors import MissingError, RefusedError
from relay.ledger import roster
from relay.ledger.keys import Pen, load_pen
from relay.ledger.state import Role, State
from relay.model import Site
from relay.settings import Home, SiteFile
from relay.wiring import open_desk, open_ledger, open_store

app = typer.Typer(no_args_is_help=True)


@app.command()
def invite(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The site, as the production's file calls it.")],
    into: Annotated[
        Path | None, typer.Option("--into", help="Where to write the invitation.", show_default="NAME.invitation")
    ] = None,
    store: Annotated[
        str | None, typer.Option(help="The store's address as that site sees it, if it differs from yours.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Invite a site. The file is good for joining once: send it like a password."""
    path = into or Path(f"{name}.invitation")
    if path.exists():
        raise RefusedError(f"{path} is there already: send that one, or move it away and invite again")
    with open_desk(context.obj) as desk:
        address = store or context.obj.read().store
        invitation = roster.invite(desk.ledger, desk.pen, name, address)
    _write_private(path, invitation.model_dump_json(indent=2) + "\n")
    answer(
        {"site": name, "invitation": str(path)},
        as_json=as_json,
        show=lambda page: page.line(
            f"{name} is invited. Send {path} like a password; there: `relay site join {path.name}`. "
            "It is good for joining once."
        ),
    )


def _write_private(path: Path, text: str) -> None:
    try:
        path.touch(mode=0o600, exist_ok=False)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise RefusedError(f"{path} cannot be written: {error.strerror}. Invite again, into another place") from error


@app.command()
def join(
    context: typer.Context,
    invitation_file: Annotated[Path, typer.Argument(metavar="INVITATION", help="The file the coordinator sent.")],
    as_json: AsJson = False,
) -> None:
    """Join a production with an invitation. Makes this site's key; it never leaves this home."""
    home: Home = context.obj
    invitation = _read_invitation(invitation_file)
    store = open_store(invitation.store)
    site = SiteFile(
        site=invitation.site, production=invitation.production, root=invitation.root, store=invitation.store
    )
    if home.site_file.exists() and home.read() != site:
        raise RefusedError(f"{home.folder} is already {home.read().site}'s home: name another with --home")
    home.write(site)  # before joining: if the answer is lost, running this again finds its own key
    if not home.key.exists():
        Pen.fresh(site.site).save(home.key)
    roster.join(open_ledger(home, store, site.root), invitation, load_pen(site.site, home.key))
    answer(
        {"site": site.site, "production": site.production, "home": str(home.folder)},
        as_json=as_json,
        show=lambda page: page.line(
            f"{site.site} has joined {site.production}. This home, {home.folder}, signs for it. "
            f"Remove {invitation_file}: it is spent."
        ),
    )


def _read_invitation(path: Path) -> roster.Invitation:
    try:
        return roster.parse_invitation(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: ask the coordinator for the invitation") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{path}: {error}") from error


@app.command("list")
def list_sites(context: typer.Context, as_json: AsJson = False) -> None:
    """List the sites, their local time, and who has joined."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
    rows = [_row(state, site) for site in state.film().sites]
    facts = {
        "sites": [
            {"site": row[0], "title": row[1], "local": row[2], "stages": row[3], "standing": row[4]} for row in rows
        ]
    }
    heads = ("site", "title", "local time", "stages", "standing")
    answer(facts, as_json=as_json, show=lambda page: page.table(heads, rows))


def _row(state: State, site: Site) -> tuple[str, ...]:
    local = SYSTEM_CLOCK.now().astimezone(ZoneInfo(site.zone))
    return (
        site.name,
        site.title,
        f"{local:%a %H:%M} {site.zone}",
        ", ".join(site.stages) or "none",
        _standing(state, site.name),
    )


def _standing(state: State, name: str) -> str:
    for role, words in ((Role.COORDINATOR, "coordinator"), (Role.SITE, "joined"), (Role.INVITATION, "invited")):
        if signer := state.signer(name, role):
            return f"{words}, since entry {signer.since}"
    past = [signer.until for signer in state.roster.values() if signer.name == name and signer.until is not None]
    return f"removed with entry {max(past)}" if past else "not invited yet"


@app.command()
def remove(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The site.")],
    reason: Annotated[str, typer.Option(help="Why, in a line. It stays in the ledger.")],
    as_json: AsJson = False,
) -> None:
    """Take a site's key off the roster: after a theft, or when its work is done. What it said before stands."""
    with open_desk(context.obj) as desk:
        entry = roster.remove(desk.ledger, desk.pen, name, reason)
    said = f"{name}'s key stopped counting with entry {entry.sequence}. Take its access to the store away, too."
    answer({"site": name, "entry": entry.sequence}, as_json=as_json, show=lambda page: page.line(said))


@app.command("new-key")
def new_key(
    context: typer.Context,
    reason: Annotated[str, typer.Option(help="Why, in a line. It stays in the ledger.")],
    as_json: AsJson = False,
) -> None:
    """Replace this site's own key, while it is still in good hands."""
    home: Home = context.obj
    fresh, spare = Pen.fresh(home.read().site), home.key.with_suffix(".new.pem")
    if not spare.exists():
        fresh.save(spare)
    fresh = load_pen(fresh.name, spare)
    with open_desk(home) as desk:
        entry = roster.replace_key(desk.ledger, desk.pen, desk.site, fresh.public, reason)
    spare.replace(home.key)
    said = f"{fresh.name} signs with a new key since entry {entry.sequence}."
    answer({"site": fresh.name, "entry": entry.sequence}, as_json=as_json, show=lambda page: page.line(said))
