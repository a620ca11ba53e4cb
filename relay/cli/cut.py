"""The cut list that a command looks at, and how it is read: a file, one that was kept, or the one used last."""

from pathlib import Path
from typing import Annotated

import typer

from relay.errors import MissingError, RefusedError
from relay.film.rates import parse_rate
from relay.ledger.state import State
from relay.model import Production
from relay.programme.cutlist import CutList
from relay.programme.pulling import Pull, pull_list
from relay.programme.reading import RATES, Ground, parse_list, parse_programme, text_of
from relay.settings import first_fault
from relay.transfer.accounting import stored_cut
from relay.transfer.cut_lists import Listed, listed_in
from relay.transfer.desk import Desk
from relay.transfer.pulling import holdings, kept_list

ListText = Annotated[
    str,
    typer.Argument(metavar="LIST", help="A file: EDL, OTIO or TOML. Or a reel whose list was kept, such as Q/R01."),
]
CutListFile = Annotated[
    Path | None,
    typer.Option(
        "--cut-list",
        metavar="FILE",
        help="The cut list that says what the film shows.",
        show_default="the one that `relay conform` was last given",
    ),
]
RateText = Annotated[str, typer.Option(metavar="RATE", help="Of the programme, where the list does not say: 24, 25.")]
Held = Annotated[
    bool,
    typer.Option("--held", help="It was cut from reference copies that hold frames: its labels count pictures."),
]

Handles = Annotated[int, typer.Option(metavar="FRAMES", min=0, max=10_000, help="Ahead of and after each shot.")]
Near = Annotated[int, typer.Option(metavar="FRAMES", min=0, max=100_000, help="Join runs that no more frames part.")]


def ground_of(film: Production, rate: str, *, held: bool) -> Ground:
    """Return what a list does not say itself: the reels, the programme's rate, the speeds of copies that hold frames.

    Raises RefusedError.
    """
    try:
        programme = parse_rate(rate)
    except ValueError as fault:
        raise RefusedError(str(fault)) from fault
    if programme not in RATES:
        raise RefusedError(
            f"no timecode counts at {rate} frames a second: expected one of {', '.join(map(str, RATES))}"
        )
    speeds = {reel: e.rate() for reel in film.reel_names() if (e := film.element_of(reel))} if held else {}
    return Ground(tuple(film.reel_names()), programme, held=speeds)


def read_list(desk: Desk, state: State, what: str, ground: Ground, *, whole: bool = True) -> CutList:
    """Return the list in a file, or the newest that is kept about a reel. Raises MissingError, RefusedError."""
    path = Path(what)
    try:
        if path.is_file():
            body = path.read_bytes()
        elif path.suffix:
            raise MissingError(f"there is no file {path}: name the cut list")
        else:
            body = kept_list(desk, state, what)
        text = text_of(body)
        return parse_programme(text, ground) if whole else parse_list(text, ground)
    except (OSError, ValueError) as fault:
        raise RefusedError(f"{what} is no cut list that can be used: {first_fault(fault)}") from fault


def pulls_of(
    desk: Desk, state: State, what: str, ground: Ground, handles: int, near: int
) -> tuple[CutList, tuple[Pull, ...]]:
    """Return a list, and what it needs from each reel. Raises MissingError, RefusedError."""
    cut = read_list(desk, state, what, ground)
    return cut, pull_list(cut, handles, near, holdings(desk, state, cut).sent)


def read_cut_list(path: Path, ground: Ground) -> Listed:
    """Return the cut list in a file, and its bytes as they are kept. Raises MissingError, RefusedError."""
    try:
        return listed_in(path.read_bytes(), ground)
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the cut list") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{path} is no cut list: {first_fault(error)}") from error


def cut_of(desk: Desk, state: State, file: Path | None, rate: str, *, held: bool) -> CutList | None:
    """Return the cut list in `file`, else the one in the store that was used last, else None.

    The one in the store says itself how it is read.
    """
    if file is None:
        return stored_cut(desk, state)
    return read_cut_list(file, ground_of(state.film(), rate, held=held)).cut_list
