"""The cut list that a command looks at: a file, or the one that a returned version was held against last."""

from pathlib import Path
from typing import Annotated

import typer

from relay.errors import MissingError, RefusedError
from relay.ledger.state import State
from relay.programme.cutlist import CutList
from relay.programme.reading import Ground, parse_programme
from relay.settings import first_fault
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
    try:
        return parse_programme(file.read_text(encoding="utf-8"), Ground(tuple(state.film().reel_names())))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {file}: name the cut list") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{file} is no cut list: {first_fault(error)}") from error
