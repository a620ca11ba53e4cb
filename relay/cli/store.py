"""`relay store`: ask a store for its promises."""

from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.progress import waiting
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
        typer.Argument(
            metavar="STORE", help="A folder, or s3://BUCKET/PREFIX?endpoint=URL.", show_default="this site's store"
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Ask a store for each promise.

    A production stands on these promises, so each is put to the test by many writers and readers at once. On some
    servers this takes a minute.
    """
    place = address or context.obj.read().store
    with waiting("asking the store for its promises; this may take a minute", quiet=as_json):
        report = probe(open_store(place), open_store(place))
    answer(report.model_dump(mode="json"), as_json=as_json, show=lambda page: _show(page, report))
    check_promises(report)


def _show(page: Page, report: Report) -> None:
    for line in report.lines():
        page.line(line)
