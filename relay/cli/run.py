"""`relay site run` and `relay sweep`: a site's worker, and one turn of it. The workers register by entry points."""

import logging
import sys
from importlib.metadata import entry_points
from pathlib import Path
from typing import Annotated, Any

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.errors import RefusedError
from relay.wording import printable

GROUP = "relay.site"

Folder = Annotated[
    Path,
    typer.Option(
        "--folder", metavar="FOLDER", help="Where this site's reels lie: to-send/, sent/ and arrived/ are made in it."
    ),
]
Settle = Annotated[
    float,
    typer.Option(
        metavar="SECONDS",
        help="Seconds that a folder in to-send/ must have been left alone, unless NAME.finished lies beside.",
    ),
]


def run(
    context: typer.Context,
    folder: Folder,
    every: Annotated[
        float, typer.Option(min=1, metavar="SECONDS", help="Seconds between two looks at what this site owes.")
    ] = 60.0,
    settle: Settle = 120.0,
    broker: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="The broker that wakes this site. An address with a password belongs into RELAY_BROKER: other users "
            "of this machine can see what a command is started with.",
            show_default="RELAY_BROKER",
        ),
    ] = None,
    embedded: Annotated[
        bool, typer.Option("--embedded", help="Run a broker in this site's home, where none is named.")
    ] = False,
    jobs: Annotated[
        int, typer.Option(min=1, max=64, metavar="COUNT", help="Automatic jobs that may be done side by side.")
    ] = 1,
) -> None:
    """Work for this site until stopped.

    Fetches what is meant for it, sends what lies in to-send/, does automatic jobs.
    """
    _log_to_standard_error()
    _installed("run")(
        context.obj, folder=folder, every=every, settle=settle, broker=broker, embedded=embedded, doers=jobs
    )


def sweep(context: typer.Context, folder: Folder, settle: Settle = 120.0, as_json: AsJson = False) -> None:
    """Do what this site owes now, once.

    For sites that run no worker all day: fetches, sends and does automatic jobs as `relay site run` does, and ends.
    """
    _log_to_standard_error()
    did: dict[str, int | None] = _installed("sweep")(context.obj, folder=folder, settle=settle)
    answer({"did": did}, as_json=as_json, show=lambda page: _show(page, did))


def _show(page: Page, did: dict[str, int | None]) -> None:
    done = ", ".join(f"{lane} {count}" for lane, count in did.items() if count)
    page.line(f"Done: {done}." if done else "Nothing was owed.")
    elsewhere = [lane for lane, count in did.items() if count is None]
    if elsewhere:
        page.line(f"Left to the worker that is running: {', '.join(elsewhere)}.")


def _installed(name: str) -> Any:
    """Return what the workers registered under `name`; the core knows nothing of them."""
    for point in entry_points(group=GROUP, name=name):
        try:
            return point.load()
        except ImportError as error:
            raise RefusedError(
                f"the workers cannot be loaded ({error}): install them with `pip install 'relay-handoff[workers]'`"
            ) from error
    raise RefusedError("no workers are installed here: `pip install 'relay-handoff[workers]'` brings them")


class _Printable(logging.Formatter):
    """Folders are named by whoever filled them: in a log they are text, never an order to a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        return printable(super().format(record))


def _log_to_standard_error() -> None:
    """A service's log has its own times; a person at a terminal needs them."""
    form = "%(asctime)s %(message)s" if sys.stderr.isatty() else "%(levelname)s %(message)s"
    logged = logging.StreamHandler(sys.stderr)
    logged.setFormatter(_Printable(form, datefmt="%H:%M:%S"))
    logging.basicConfig(level=logging.WARNING, handlers=[logged])
    logging.getLogger("relay").setLevel(logging.INFO)
