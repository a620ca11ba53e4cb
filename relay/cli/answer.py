"""How the command answers: a person gets words and tables, a script gets one JSON object on standard output."""

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

AsJson = Annotated[bool, typer.Option("--json", help="Answer with one JSON object, for scripts.")]


FILE_WIDTH = 140
"""Characters in a line, where nobody's window says how many."""


def console() -> Console:
    """Return where people are answered."""
    width = None if sys.stdout.isatty() else FILE_WIDTH
    return Console(highlight=False, width=width, soft_wrap=not sys.stdout.isatty())


def answer(facts: Mapping[str, object], *, as_json: bool, show: Callable[[Console], None]) -> None:
    """Print `facts` for a script, or let `show` print them for a person."""
    if as_json:
        print(json.dumps(facts, ensure_ascii=False, indent=2, default=str))  # noqa: T201  scripts read plain standard output
    else:
        show(console())


def tabled(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a plain table."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table


def bytes_in_words(size: int) -> str:
    """Return a number of bytes as people say it."""
    amount, unit = float(size), "bytes"
    for larger in ("kB", "MB", "GB", "TB"):
        if amount < 1000:
            break
        amount, unit = amount / 1000, larger
    return f"{size} bytes" if unit == "bytes" else f"{amount:.1f} {unit}"


def count(number: int, one: str, many: str | None = None) -> str:
    """Return `number` with its noun."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
