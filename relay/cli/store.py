"""`relay store`: ask a store for its promises."""

from typing import Annotated

import typer
from rich.console import Console

from relay.cli.answer import AsJson, answer
from relay.store.probe import Report, check_promises, probe
from relay.wiring import open_store

app = typer.Typer()


@app.callback()
def _store() -> None:
    pass


@app.command()
def check(
    context: typer.Context,
    address: Annotated[
        str | None,
        typer.Argument(help="A folder, or s3://BUCKET/PREFIX?endpoint=URL.", show_default="this site's store"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Ask a store for each promise that a production stands on, racing many writers. May take a minute."""
    place = address or context.obj.read().store
    report = probe(open_store(place), open_store(place))
    answer(report.model_dump(mode="json"), as_json=as_json, show=lambda console: _show(console, report))
    check_promises(report)


def _show(console: Console, report: Report) -> None:
    for line in report.lines():
        console.print(line)
