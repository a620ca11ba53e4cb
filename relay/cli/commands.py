"""All commands of `relay`, put together."""

from pathlib import Path
from typing import Annotated, Any

import typer
import typer.core

from relay import __version__
from relay.cli.when_asked import Table, Told
from relay.settings import HOME_VARIABLE, home_of


class _InSections(typer.core.TyperGroup):
    """Lists the commands under headings, in the order in which they are told below, and loads the one that is asked."""

    def __init__(self, **about: Any) -> None:
        super().__init__(**about)
        self.commands = Table(_COMMANDS)

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
_COMMANDS = {
    told.name: told
    for told in (
        Told("inspect", "inspect:inspect", _FILES),
        Told("send", "handover:send", _FILES),
        Told("fetch", "handover:fetch", _FILES),
        Told("verify", "upkeep:verify", _FILES),
        Told("mend", "upkeep:mend", _FILES),
        Told("copies", "copies:copies", _FILES),
        Told("tidy", "tidy:tidy", _FILES),
        Told("gaps", "prints:gaps", _PROGRAMME),
        Told("fill", "fill:fill", _PROGRAMME),
        Told("coverage", "coverage:coverage", _PROGRAMME),
        Told("late", "prints:late", _PROGRAMME),
        Told("beside", "beside:beside", _PROGRAMME),
        Told("conform", "conform:conform", _PROGRAMME),
        Told("fit-sound", "fit_sound:fit_sound", _PROGRAMME),
        Told("movie", "movie:movie", _PROGRAMME),
        Told("jobs", "jobs:jobs", _JOBS),
        Told("who", "planning:who", _JOBS),
        Told("forecast", "planning:show_forecast", _JOBS),
        Told("claim", "jobs:claim", _JOBS),
        Told("extend", "jobs:extend", _JOBS),
        Told("release", "jobs:release", _JOBS),
        Told("hand-on", "jobs:hand_on", _JOBS),
        Told("accept", "jobs:accept", _JOBS),
        Told("return", "jobs:give_back", _JOBS),
        Told("withdraw", "jobs:withdraw", _JOBS),
        Told("reassign", "jobs:reassign", _JOBS),
        Told("restart", "jobs:restart", _JOBS),
        Told("ask", "jobs:ask", _JOBS),
        Told("align", "align:align", _PROGRAMME),
        Told("pin", "align:pin", _PROGRAMME),
        Told("decide", "decide:decide", _PROGRAMME),
        Told("why", "accounts:why", _PROGRAMME),
        Told("account", "accounts:account", _PROGRAMME),
        Told("retire", "closing:retire"),
        Told("sweep", "run:sweep", _JOBS),
        Told(
            "reel",
            "reel:app",
            _FILES,
            "See reels, their versions, and what differs.",
            (("findings", "inspect:findings"),),
        ),
        Told(
            "export",
            "upkeep:export",
            _FILES,
            "Write a version in a form that others read.",
            (("close", "closing:close"),),
        ),
        Told("material", "material:app", _FILES, "Stills and papers, and what they are about."),
        Told("left", "left:app", _PROGRAMME, "What is left as it is, and who kept it."),
        Told("comparison", "comparison:app", _PROGRAMME, "Prints in step, made by a worker."),
        Told("cut", "cuts:app", _PROGRAMME, "Cut lists: checked, pulled, compared.", (("ask", "cut_ask:ask_for"),)),
        Told(
            "production",
            "production:app",
            None,
            "Create, revise and show a production.",
            (("take-over", "keys:take_over"), ("new-root", "keys:new_root")),
        ),
        Told(
            "site",
            "site:app",
            None,
            "Invite sites, join, and see who belongs.",
            (("move", "keys:move"), ("run", "run:run")),
        ),
        Told("ledger", "ledger:app", None, "See and check the ledger."),
        Told("board", "board:app", None, "Serve a page with all this, and say who may look."),
        Told("store", "store:app", None, "Ask a store for its promises."),
    )
}


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


def all_loaded() -> dict[str, Any]:
    """Return every command with its module loaded, for what asks about all of them."""
    return dict(Table(_COMMANDS))
