"""`relay board`: a page that shows all this and says the next word; and who may look at it where it is shared."""

import sys
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.typed import checked_line
from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError
from relay.settings import Home, home_of
from relay.wiring import open_desk

if TYPE_CHECKING:
    from relay.board.people import People

app = typer.Typer(invoke_without_command=True)

Name = Annotated[str, typer.Argument(metavar="NAME", callback=checked_line, help="What they are called.")]


@app.callback()
def board(
    context: typer.Context,
    port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="PORT", help="Where it listens; 0: any free one.")
    ] = 8730,
    listen: Annotated[
        str, typer.Option(metavar="ADDRESS", help="The address it listens on. Another than this asks for HTTPS.")
    ] = "127.0.0.1",
    host: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A name that people call it by; may be given more than once."),
    ] = None,
    also: Annotated[
        list[Path] | None,
        typer.Option(metavar="HOME", help="The home of another site that this board may speak for, on this machine."),
    ] = None,
    certificate: Annotated[Path | None, typer.Option(metavar="FILE", help="A certificate for HTTPS, in PEM.")] = None,
    key: Annotated[Path | None, typer.Option(metavar="FILE", help="Its key.")] = None,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="A proxy before it, on this machine, speaks HTTPS.")
    ] = False,
) -> None:
    """Serve a page with reels, jobs, sites and the ledger, until stopped.

    It prints an address that opens the page once. By itself it serves this machine alone.
    """
    if context.invoked_subcommand is not None:
        return
    _check_installed()
    from relay.board.serve import Place, serve

    place = Place(
        address=listen,
        port=port,
        hosts=tuple(host or ()),
        certificate=certificate,
        key=key,
        is_behind_proxy=behind_proxy,
    )
    serve(context.obj, [home_of(each) for each in also or ()], place, _say)


def _say(address: str) -> None:
    typer.echo(f"The board is open, once, at:\n  {address}\nControl-C stops it.")
    sys.stdout.flush()


def _check_installed() -> None:
    try:
        import fastapi
        import uvicorn
    except ImportError as error:
        raise RefusedError(
            f"the board cannot be loaded ({error}): install it with `pip install 'relay-handoff[board]'`"
        ) from error
    assert fastapi
    assert uvicorn


def _people(home: Home) -> "People":
    _check_installed()
    from relay.board.people import People

    return People(home.folder / "board")


@app.command()
def person(
    context: typer.Context,
    name: Name,
    role: Annotated[str, typer.Option(metavar="ROLE", help="coordinator, or site.")] = "site",
    site: Annotated[
        str | None, typer.Option(metavar="SITE", help="In whose name they speak.", show_default="this home's site")
    ] = None,
    password_file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The password, for scripts.", show_default="asked for")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Let somebody sign in to a shared board.

    With a password, as the coordinator or for a site. The board speaks for a site only where it has that site's home.
    """
    people = _people(context.obj)
    with open_desk(context.obj) as desk:
        film, own = desk.ledger.follow().film(), desk.site
    meant = site or own
    if film.site(meant) is None:
        raise RefusedError(
            f"the production has no site {meant}: expected one of {', '.join(s.name for s in film.sites)}"
        )
    added = people.add(name, _role(role, meant, film.coordinator), meant, _password(password_file), SYSTEM_CLOCK.now())
    facts = {"name": added.name, "role": added.role, "site": added.site}
    answer(facts, as_json=as_json, show=lambda page: page.line(f"{name} may sign in, as {role} of {meant}."))


def _role(text: str, site: str, coordinator: str) -> Literal["coordinator", "site"]:
    if text == "site":
        return "site"
    if text != "coordinator":
        raise RefusedError(f"{text!r} is no role: expected coordinator or site; `relay board link` is for guests")
    if site != coordinator:
        raise RefusedError(f"{site} does not coordinate this production, {coordinator} does: leave --role out")
    return "coordinator"


def _password(file: Path | None) -> str:
    if file is None:
        asked: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
        return asked
    try:
        return file.read_text(encoding="utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise RefusedError(f"{file} cannot be read: expected one line with the password") from error


@app.command()
def link(
    context: typer.Context,
    name: Name,
    holder: Annotated[
        str | None,
        typer.Option(
            metavar="ARCHIVE", help="A guest: sees this archive's elements, as the production's file calls it."
        ),
    ] = None,
    machine: Annotated[
        bool, typer.Option("--machine", help="For monitoring and scripts, which only read, but everything.")
    ] = False,
    days: Annotated[int, typer.Option(min=1, max=3660, metavar="DAYS", help="For how long it opens the board.")] = 90,
    as_json: AsJson = False,
) -> None:
    """Make a link to one archive's elements.

    With it an archive sees its own elements, and says nothing. Or what scripts and monitoring read with.
    """
    people = _people(context.obj)
    if machine == (holder is not None):
        raise RefusedError("say one thing: --holder ARCHIVE for a guest, or --machine")
    with open_desk(context.obj) as desk:
        holders = sorted({element.holder for element in desk.ledger.follow().film().elements})
    if holder is not None and holder not in holders:
        raise RefusedError(f"nothing is held by {holder!r}: expected one of {', '.join(holders)}")
    until = SYSTEM_CLOCK.now() + timedelta(days=days)
    secret = people.issue(name, "machine" if machine else "guest", holder, until)
    said = f"Authorization: Bearer {secret}" if machine else f"/enter?key={secret}"
    show = f"{said}\nGood until {until:%Y-%m-%d %H:%M} UTC. Put the board's address before it; send it like a password."
    facts = {"name": name, "secret": secret, "until": until.isoformat()}
    answer(facts, as_json=as_json, show=lambda page: page.line(said if machine else show))


@app.command("people")
def list_people(context: typer.Context, as_json: AsJson = False) -> None:
    """List who may sign in, and which links there are."""
    people, links = _people(context.obj).all()
    rows: list[tuple[str, str, str, str]] = [(each.name, each.role, each.site, "") for each in people]
    rows += [(each.name, each.role, each.holder or "everything", f"until {each.until:%Y-%m-%d}") for each in links]
    facts = {"people": [dict(zip(("name", "role", "sees", "until"), row, strict=True)) for row in rows]}
    answer(facts, as_json=as_json, show=lambda page: _show(page, rows))


def _show(page: Page, rows: list[tuple[str, str, str, str]]) -> None:
    if rows:
        page.table(("name", "role", "for", ""), rows)
    else:
        page.line("Nobody but whoever sits at this machine.")


@app.command("remove")
def remove(context: typer.Context, name: Name, as_json: AsJson = False) -> None:
    """Let somebody in no more, by password or by link, at once."""
    if not _people(context.obj).remove(name):
        raise RefusedError(f"nobody called {name} may come in: `relay board people` lists who may")
    answer({"removed": name}, as_json=as_json, show=lambda page: page.line(f"{name} comes in no more."))
