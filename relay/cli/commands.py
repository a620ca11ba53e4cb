"""All commands of `relay`, put together."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer
import typer.core

from relay import __version__
from relay.cli import (
    accounts,
    align,
    beside,
    board,
    closing,
    comparison,
    conform,
    copies,
    coverage,
    cut_ask,
    cuts,
    decide,
    fill,
    fit_sound,
    handover,
    inspect,
    jobs,
    keys,
    ledger,
    left,
    material,
    movie,
    planning,
    prints,
    production,
    reel,
    run,
    site,
    store,
    tidy,
    upkeep,
)
from relay.settings import HOME_VARIABLE, home_of


class _InSections(typer.core.TyperGroup):
    """Lists the commands under headings, in the order in which they are told below."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002  the library's own signature
        sections: dict[str, list[tuple[str, str]]] = {}
        for name, command in self.commands.items():
            heading = getattr(command, "rich_help_panel", None)
            listed = sections.setdefault(heading if isinstance(heading, str) else _HOUSE, [])
            listed.append((name, command.get_short_help_str(limit=58)))
        for heading, commands in sections.items():
            with formatter.section(heading):
                formatter.write_dl(commands)


app = typer.Typer(
    name="relay",
    cls=_InSections,
    help="Hands finished reels from one restoration site to the next, whole, and keeps the record of every version.",
    epilog="Exit codes: 0 done, 2 change the request, 3 not there (yet), 4 broken: call a person, 75 try again later, "
    "130 stopped by Control-C.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help can be copied, searched and read aloud, and it comes sooner
)
_FILES, _PROGRAMME, _JOBS, _HOUSE = "Reels", "The programme", "Jobs", "The production"
_COMMANDS: tuple[tuple[str, str, Callable[..., None]], ...] = (
    (_FILES, "inspect", inspect.inspect),
    (_FILES, "send", handover.send),
    (_FILES, "fetch", handover.fetch),
    (_FILES, "verify", upkeep.verify),
    (_FILES, "mend", upkeep.mend),
    (_FILES, "copies", copies.copies),
    (_FILES, "tidy", tidy.tidy),
    (_PROGRAMME, "gaps", prints.gaps),
    (_PROGRAMME, "fill", fill.fill),
    (_PROGRAMME, "coverage", coverage.coverage),
    (_PROGRAMME, "late", prints.late),
    (_PROGRAMME, "beside", beside.beside),
    (_PROGRAMME, "conform", conform.conform),
    (_PROGRAMME, "fit-sound", fit_sound.fit_sound),
    (_PROGRAMME, "movie", movie.movie),
    (_JOBS, "jobs", jobs.jobs),
    (_JOBS, "who", planning.who),
    (_JOBS, "forecast", planning.show_forecast),
    (_JOBS, "claim", jobs.claim),
    (_JOBS, "extend", jobs.extend),
    (_JOBS, "release", jobs.release),
    (_JOBS, "hand-on", jobs.hand_on),
    (_JOBS, "accept", jobs.accept),
    (_JOBS, "return", jobs.give_back),
    (_JOBS, "withdraw", jobs.withdraw),
    (_JOBS, "reassign", jobs.reassign),
    (_JOBS, "restart", jobs.restart),
    (_JOBS, "ask", jobs.ask),
    (_PROGRAMME, "align", align.align),
    (_PROGRAMME, "pin", align.pin),
    (_PROGRAMME, "decide", decide.decide),
    (_PROGRAMME, "why", accounts.why),
    (_PROGRAMME, "account", accounts.account),
)
for heading, name, function in _COMMANDS:
    app.command(name, rich_help_panel=heading)(function)
app.add_typer(reel.app, name="reel", rich_help_panel=_FILES, help="See reels, their versions, and what differs.")
app.add_typer(upkeep.export, name="export", rich_help_panel=_FILES, help="Write a version in a form that others read.")
app.add_typer(material.app, name="material", rich_help_panel=_FILES, help="Stills and papers, and what they are about.")
app.add_typer(left.app, name="left", rich_help_panel=_PROGRAMME, help="What is left as it is, and who kept it.")
app.add_typer(comparison.app, name="comparison", rich_help_panel=_PROGRAMME, help="Prints in step, made by a worker.")
app.add_typer(cuts.app, name="cut", rich_help_panel=_PROGRAMME, help="Cut lists: checked, pulled, compared.")
app.add_typer(production.app, name="production", help="Create, revise and show a production.")
app.add_typer(site.app, name="site", help="Invite sites, join, and see who belongs.")
app.add_typer(ledger.app, name="ledger", help="See and check the ledger.")
app.add_typer(board.app, name="board", help="Serve a page with all this, and say who may look.")
app.add_typer(store.app, name="store", help="Ask a store for its promises.")
reel.app.command("findings")(inspect.findings)
upkeep.export.command("close")(closing.close)
cuts.app.command("ask")(cut_ask.ask_for)
app.command("retire")(closing.retire)
production.app.command("take-over")(keys.take_over)
production.app.command("new-root")(keys.new_root)
site.app.command("move")(keys.move)
site.app.command("run")(run.run)
app.command("sweep", rich_help_panel=_JOBS)(run.sweep)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"relay {__version__}")
        raise typer.Exit


@app.callback()
def _start(
    context: typer.Context,
    home: Annotated[
        Path | None,
        typer.Option(
            envvar=HOME_VARIABLE,
            metavar="FOLDER",
            help="This site's home: its key, its settings, what it remembers.",
            show_default="~/.relay",
        ),
    ] = None,
    _show_version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which Relay this is.")
    ] = False,
) -> None:
    context.obj = home_of(home)


def command() -> None:
    """Run what the command line says."""
    # Not `app()`, which would put an excepthook of its own in the place of ours.
    typer.main.get_command(app)(prog_name="relay")
