"""The `relay` command: its parts, and the one place where an error becomes a sentence and an exit code."""

import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Annotated

import typer

from relay import __version__
from relay.cli import copies, handover, jobs, keys, ledger, production, reel, site, store
from relay.errors import RelayError
from relay.settings import HOME_VARIABLE, home_of

app = typer.Typer(
    name="relay",
    help="Hands finished reels from one restoration site to the next, whole, and keeps the record of every version.",
    epilog="Exit codes: 0 done, 2 change the request, 3 not there (yet), 4 broken: call a person, 75 try again later.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
)
app.add_typer(production.app, name="production", help="Create, revise and show a production.")
app.add_typer(site.app, name="site", help="Invite sites, join, and see who belongs.")
app.add_typer(reel.app, name="reel", help="See reels, their versions, and what differs between two.")
app.add_typer(ledger.app, name="ledger", help="See and check the record.")
app.add_typer(store.app, name="store", help="Ask a store for its promises.")
app.add_typer(handover.export, name="export", help="Write a version in a form that others read.")
production.app.command("take-over")(keys.take_over)
production.app.command("new-root")(keys.new_root)
site.app.command("move")(keys.move)
_FILES, _JOBS = "Reels", "Jobs"
_COMMANDS: tuple[tuple[str, str, Callable[..., None]], ...] = (
    (_FILES, "send", handover.send),
    (_FILES, "fetch", handover.fetch),
    (_FILES, "verify", handover.verify),
    (_FILES, "mend", handover.mend),
    (_FILES, "copies", copies.copies),
    (_JOBS, "jobs", jobs.jobs),
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
)
for panel, name, command in _COMMANDS:
    app.command(name, rich_help_panel=panel)(command)


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
            help="This site's home: its key, its settings, what it remembers.",
            show_default="~/.relay",
        ),
    ] = None,
    _show_version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which Relay this is.")
    ] = False,
) -> None:
    context.obj = home_of(home)


def main() -> None:
    """Run the command; what goes wrong is said in a sentence, and the exit code says what to do."""
    sys.excepthook = _unforeseen
    try:
        app()
    except RelayError as error:
        typer.echo(f"relay: {error}", err=True)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        typer.echo(
            "relay: stopped. Nothing is half-done under its final name; run the same command again to go on.", err=True
        )
        sys.exit(130)


def _unforeseen(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Keep the trace for whoever mends Relay, and tell the person what to do."""
    place = Path.cwd() / "relay-fault.txt"
    try:
        place.write_text("".join(traceback.format_exception(kind, error, trace)), encoding="utf-8")
        kept = f"The details are in {place}: send that file to whoever looks after Relay."
    except OSError:
        kept = f"The details could not be kept ({kind.__name__}: {error})."
    typer.echo(f"relay: something happened that Relay did not foresee; nothing was deleted. {kept}", err=True)
