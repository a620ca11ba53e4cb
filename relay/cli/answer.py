"""How the command answers: a person gets lines and tables, a script gets one JSON object on standard output."""

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Annotated

import typer

from relay.wording import bytes_in_words, count, printable

__all__ = ["AsJson", "Page", "answer", "bytes_in_words", "count", "printable"]

AsJson = Annotated[bool, typer.Option("--json", help="Answer with one JSON object, for scripts.")]

FILE_WIDTH = 140
"""Characters in a line of a table, where nobody's window says how many."""


class Page:
    """What a person is shown. What strangers wrote is text on it: never markup, nor an order to a terminal."""

    def line(self, text: str = "", *, head: str = "") -> None:
        """Add a line; `head` stands in bold before `text`."""
        typer.echo(typer.style(printable(head), bold=True) + printable(text) if head else printable(text))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Add a plain table."""
        from rich.console import Console  # a tenth of a second to load, and most commands draw no table
        from rich.table import Table
        from rich.text import Text

        table = Table(box=None, pad_edge=False, header_style="bold")
        for column in heads:
            table.add_column(column, overflow="fold")
        for row in rows:
            table.add_row(*(Text(printable(cell)) for cell in row))
        is_window = sys.stdout.isatty()
        Console(width=None if is_window else FILE_WIDTH, soft_wrap=not is_window).print(table)

    def picture(self, lines: Sequence[Sequence[tuple[str, str]]]) -> None:
        """Add a picture made of letters: for each line its strokes, each with a colour's name or none."""
        from rich.console import Console
        from rich.text import Text

        console = Console(width=FILE_WIDTH, soft_wrap=True, highlight=False)
        for line in lines:
            console.print(Text.assemble(*((printable(text), style) for text, style in line)))


def answer(facts: Mapping[str, object], *, as_json: bool, show: Callable[[Page], None]) -> None:
    """Print `facts` for a script, or let `show` print them for a person."""
    if as_json:
        typer.echo(json.dumps(facts, indent=2, default=str))
    else:
        show(Page())
