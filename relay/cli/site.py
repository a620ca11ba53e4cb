"""`relay site`: who belongs to the production."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, TextIO
from zoneinfo import ZoneInfo

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.jobs import not_sent, show_not_sent
from relay.cli.typed import Reason, SiteName, checked_address
from relay.errors import MissingError, RefusedError, RelayError
from relay.ledger import roster
from relay.ledger.keys import Pen, key_id, load_pen
from relay.ledger.ledger import Ledger
from relay.ledger.state import Role, State
from relay.model import Site
from relay.settings import Home, SiteFile
from relay.wiring import open_desk, open_ledger, open_store

app = typer.Typer(no_args_is_help=True)


@app.command()
def invite(
    context: typer.Context,
    name: SiteName,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FILE", help="Where to write the invitation.", show_default="SITE.invitation"),
    ] = None,
    store: Annotated[
        str | None,
        typer.Option(
            metavar="STORE",
            callback=checked_address,
            help="The store's address as that site sees it.",
            show_default="as this site sees it",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Invite a site.

    Writes an invitation, which is good for joining once: send it like a password.
    """
    path = into or Path(f"{name}.invitation")
    with open_desk(context.obj) as desk, _private_file(path) as file:
        invitation = roster.invite(desk.ledger, desk.pen, name, store or context.obj.read().store)
        file.write(invitation.model_dump_json(indent=2) + "\n")
    answer(
        {"site": name, "invitation": str(path)},
        as_json=as_json,
        show=lambda page: page.line(
            f"{name} is invited. Send {path} like a password; there: `relay site join {path.name}`. "
            "It is good for joining once."
        ),
    )


@contextmanager
def _private_file(path: Path) -> Iterator[TextIO]:
    """Open a new file for its owner alone, before anything is said; nothing is left of it where that was refused."""
    try:
        if path.exists() and path.stat().st_size == 0:
            path.unlink()  # from a run that was killed
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise RefusedError(f"{path} is there already: send that one, or move it away and invite again") from error
    except OSError as error:
        raise RefusedError(f"{path} cannot be written ({error.strerror}): name another file with --into") from error
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            yield file
    except RelayError:
        path.unlink(missing_ok=True)
        raise
    except OSError as error:
        path.unlink(missing_ok=True)
        raise RefusedError(f"{path} cannot be written ({error.strerror}): invite again, into another place") from error


@app.command()
def join(
    context: typer.Context,
    invitation_file: Annotated[Path, typer.Argument(metavar="INVITATION", help="The file the coordinator sent.")],
    as_json: AsJson = False,
) -> None:
    """Join a production.

    Needs the invitation that the coordinator sent. Makes this site's key, which never leaves this home.
    """
    home: Home = context.obj
    invitation = _read_invitation(invitation_file)
    store = open_store(invitation.store)
    site = SiteFile(
        site=invitation.site, production=invitation.production, root=invitation.root, store=invitation.store
    )
    if home.site_file.exists() and home.read() != site:
        raise RefusedError(f"{home.folder} is already {home.read().site}'s home: name another with --home")
    is_fresh = not (home.site_file.exists() or home.key.exists())
    home.write(site)  # before joining: if the answer is lost, running this again finds its own key
    ledger = open_ledger(home, store, site.root)
    try:
        roster.join(ledger, invitation, _own_pen(home, invitation, ledger))
    except (RefusedError, MissingError):
        if is_fresh and not _has_joined(home, ledger, site.site):
            _leave_no_trace(home)
        raise
    answer(
        {"site": site.site, "production": site.production, "home": str(home.folder)},
        as_json=as_json,
        show=lambda page: page.line(
            f"{site.site} has joined {site.production}. This home, {home.folder}, signs for it. "
            f"Remove {invitation_file}: it is spent."
        ),
    )


def _own_pen(home: Home, invitation: roster.Invitation, ledger: Ledger) -> Pen:
    """Return the pen of this home: a new one where there was none, or where the old key stopped counting."""
    if home.key.exists():
        keys = ledger.follow().roster
        own = keys.get(key_id(load_pen(invitation.site, home.key).public))
        guest = keys.get(key_id(invitation.pen().public))
        if own is not None and own.until is not None and guest is not None and guest.until is None:
            home.key.replace(home.key.with_name(f"key.until-{own.until}.pem"))
    if not home.key.exists():
        Pen.fresh(invitation.site).save(home.key)
    return load_pen(invitation.site, home.key)


def _has_joined(home: Home, ledger: Ledger, site: str) -> bool:
    return home.key.exists() and key_id(load_pen(site, home.key).public) in ledger.state.roster


def _leave_no_trace(home: Home) -> None:
    """Remove what joining made in a home that was not there before."""
    for made in (home.site_file, home.key):
        made.unlink(missing_ok=True)
    shutil.rmtree(home.ledger, ignore_errors=True)
    home.drop_if_empty()


def _read_invitation(path: Path) -> roster.Invitation:
    try:
        return roster.parse_invitation(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: ask the coordinator for the invitation") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{path}: {error}") from error


@app.command("list")
def list_sites(context: typer.Context, as_json: AsJson = False) -> None:
    """List the sites and who has joined.

    With each one's local time, what it can do, and what lies in its to-send/ and could not be sent.
    """
    with open_desk(context.obj) as desk:
        state, now = desk.ledger.follow(), desk.now()
    rows = [_facts(state, site, now) for site in state.film().sites]
    heads = ("site", "title", "local time", "stages", "standing")
    answer({"sites": rows}, as_json=as_json, show=lambda page: _show(page, heads, rows, state))


def _show(page: Page, heads: tuple[str, ...], rows: list[dict[str, Any]], state: State) -> None:
    page.table(heads, [_row(facts) for facts in rows])
    show_not_sent(page, state.kept)


def _facts(state: State, site: Site, now: datetime) -> dict[str, Any]:
    standing, entry = _standing(state, site.name)
    return {
        "site": site.name,
        "title": site.title,
        "zone": site.zone,
        "local_time": now.astimezone(ZoneInfo(site.zone)).isoformat(),
        "stages": list(site.stages),
        "mends": site.mends,
        "standing": standing,
        "entry": entry,
        "not_sent": not_sent(state.kept_at(site.name)),
    }


def _row(facts: dict[str, Any]) -> tuple[str, ...]:
    local = datetime.fromisoformat(facts["local_time"])
    return (
        facts["site"],
        facts["title"],
        f"{local:%a %H:%M} {facts['zone']}",
        ", ".join(facts["stages"]) or "none",
        facts["standing"] if facts["entry"] is None else f"{facts['standing']}, entry {facts['entry']}",
    )


def _standing(state: State, name: str) -> tuple[str, int | None]:
    """Return how a site stands, and since which entry."""
    for role, words in ((Role.COORDINATOR, "coordinator"), (Role.SITE, "joined"), (Role.INVITATION, "invited")):
        if signer := state.signer(name, role):
            return words, signer.since
    past = [signer.until for signer in state.roster.values() if signer.name == name and signer.until is not None]
    return ("removed", max(past)) if past else ("not invited yet", None)


@app.command()
def remove(
    context: typer.Context,
    name: SiteName,
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """Take a site's key off the roster.

    After a theft, or when its work is done. What it said before stands.
    """
    with open_desk(context.obj) as desk:
        entry = roster.remove(desk.ledger, desk.pen, name, reason)
    said = f"{name}'s key stopped counting with entry {entry.sequence}. Take its access to the store away, too."
    answer({"site": name, "entry": entry.sequence}, as_json=as_json, show=lambda page: page.line(said))


@app.command("new-key")
def new_key(
    context: typer.Context,
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """Replace this site's own key.

    While it is still in good hands; after a theft, ask the coordinator to remove the site and invite it anew.
    """
    home: Home = context.obj
    name, spare = home.read().site, home.key.with_suffix(".new.pem")
    with open_desk(home) as desk:
        if not spare.exists():
            desk.check_may_sign(desk.ledger.follow())
            Pen.fresh(name).save(spare)
        fresh = load_pen(name, spare)
        said_before = desk.ledger.follow().roster.get(key_id(fresh.public))  # by a run that was killed
        entry = (
            said_before.since
            if said_before
            else roster.replace_key(desk.ledger, desk.pen, name, fresh.public, reason).sequence
        )
    spare.replace(home.key)
    said = f"{name} signs with a new key since entry {entry}."
    answer({"site": name, "entry": entry}, as_json=as_json, show=lambda page: page.line(said))
