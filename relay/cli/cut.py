"""The cut list that a command looks at: a file, or the one that a returned version was held against last."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.conform import read_cut_list
from relay.ledger.state import State
from relay.programme.cutlist import CutList
from relay.transfer.accounting import stored_cut
from relay.transfer.desk import Desk

CutListFile = Annotated[
    Path | None,
    typer.Option(
        "--cut-list",
        metavar="FILE",
        help="The cut list that says what the film shows.",
        show_default="the one that `relay conform` was last given",
    ),
]


def cut_of(desk: Desk, state: State, file: Path | None) -> CutList | None:
    """Return the cut list in `file`, else the one in the store that was used last, else None."""
    if file is None:
        return stored_cut(desk, state)
    return read_cut_list(file, state).cut_list
