"""`relay beside`: two to four prints in step, as a movie or a still."""

import shutil
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from relay.cli.answer import AsJson, answer, count
from relay.cli.cut import ground_of, read_list
from relay.cli.progress import watching
from relay.cli.shots import ShotNumber, shot_of
from relay.errors import MissingError, RefusedError
from relay.film.rates import parse_rate
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.model import FrameRange, VersionName, code_of, reel_of
from relay.programme.beside import Part
from relay.programme.cutlist import CutList
from relay.store.folder import in_our_words
from relay.transfer.aligned import aligned_version, print_of
from relay.transfer.beside import make_beside, newest_beside, of_programme, of_reel, slated
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import parse_place

PlaceText = Annotated[
    str,
    typer.Argument(
        metavar="REEL[:FRAMES]|LIST", help="What is looked at: A/R03, A/R03:3412-3440, or all that a cut list shows."
    ),
]
OthersText = Annotated[
    list[str] | None,
    typer.Argument(metavar="REEL...", help="Up to three other prints; along a list, elements.", show_default="all"),
]
SpeedText = Annotated[str, typer.Option(metavar="FPS", help="Frames a second.")]


class Wanted(NamedTuple):
    """What is to be shown: prints along the first, or elements along a cut list."""

    prints: tuple[VersionName, ...] = ()
    frames: FrameRange | None = None
    cut_list: CutList | None = None
    elements: tuple[str, ...] = ()

    def parts(self, desk: Desk, state: State) -> tuple[Part, ...]:
        """Return the steps. Raises MissingError, RefusedError, BrokenError."""
        if self.cut_list is not None:
            return of_programme(desk, state, self.cut_list, self.elements)
        return of_reel(desk, state, self.prints[0], self.prints[1:], self.frames)

    def codes(self, desk: Desk, state: State) -> tuple[str, ...]:
        """Return whose prints are shown along a cut list."""
        return self.elements or tuple(code_of(name) for name in lane_names(self.parts(desk, state)))


def wanted_of(desk: Desk, state: State, place: str, others: Sequence[str], shot: int | None) -> Wanted:
    """Return what a place and others name. Raises RefusedError, MissingError."""
    if Path(place).suffix:
        if shot is not None:
            raise RefusedError("--shot names a shot of a reel: along a cut list there is none")
        listed = read_list(desk, state, place, ground_of(state.film(), "24", held=False))
        return Wanted(cut_list=listed, elements=tuple(others))
    reel, _, text = place.partition(":")
    named = parse_place(place if reel not in state.versions else f"{reel_of(VersionName(reel))}:{text}".rstrip(":"))
    if named.reel is None or len(named.frames) > 1:
        raise RefusedError(f"{place!r} is no reel and no range of one: write it like A/R03 or A/R03:3412-3440")
    axis = aligned_version(state, reel if reel in state.versions else named.reel)
    one = print_of(desk, state, axis, with_shots=shot is not None)
    names = tuple(aligned_version(state, each).name for each in others) or newest_beside(one)
    if not names:
        raise MissingError(f"{one.version} was put beside no other print yet: there is nothing to show it with")
    frames = named.frames[0] if named.frames else None
    if shot is not None:
        frames = shot_of(one, shot, frames)
    return Wanted((one.version, *names), frames)


def rate_of(speed: str) -> Fraction:
    """Return the rate that `--speed` names. Raises RefusedError."""
    try:
        return parse_rate(speed)
    except ValueError as fault:
        raise RefusedError(f"--speed {speed}: {fault}") from fault


def beside(
    context: typer.Context,
    place: PlaceText,
    target: Annotated[
        Path, typer.Argument(metavar="FILE", help="The movie, x.mov, or a still of its first frame: x.png.")
    ],
    others: OthersText = None,
    shot: ShotNumber = None,
    speed: SpeedText = "18",
    as_json: AsJson = False,
) -> None:
    """Show two to four prints in step, as a movie or a still.

    By their frame maps, each with its own numbers under it. Where one lacks frames that another has, a slate counts
    them. Only what is shown is fetched. `relay comparison ask` lets a worker make it.
    """
    check_media()
    rate, is_still = rate_of(speed), _is_still(target)
    with (
        tempfile.TemporaryDirectory(prefix="relay-beside-") as folder,
        open_desk(context.obj) as desk,
        watching(f"making {target.name}", quiet=as_json),
    ):
        state = desk.ledger.follow()
        parts = wanted_of(desk, state, place, others or [], shot).parts(desk, state)
        found = make_beside(desk, state, parts, rate, Path(folder), target)
        with in_our_words(str(target), "write it"):
            shutil.copyfile(found, target)
    shown = (parts[0]._replace(steps=parts[0].steps[:1]),) if is_still else parts
    steps = sum(len(part.steps) for part in shown)
    lanes = dict(zip(lane_names(parts), slated(shown), strict=True))
    facts = {"file": str(target), "prints": list(lanes), "steps": steps, "slated": lanes}
    told = ", ".join(f"{name} slated in {slates}" for name, slates in lanes.items())
    answer(facts, as_json=as_json, show=lambda page: page.line(f": {count(steps, 'step')}; {told}.", head=str(target)))


def _is_still(target: Path) -> bool:
    kinds = {".mov": False, ".png": True}
    if target.suffix.lower() not in kinds:
        raise RefusedError(f"{target}: a movie is written as x.mov, a still as x.png: name it so")
    return kinds[target.suffix.lower()]


def lane_names(parts: Sequence[Part]) -> list[str]:
    """Return what each pane is called: its version; of several, their element."""
    lanes = [{part.lanes[lane] for part in parts} - {None} for lane in range(len(parts[0].lanes))]
    return [next(iter(names)) or "" if len(names) == 1 else _element(names) for names in lanes]


def _element(names: set[VersionName | None]) -> str:
    return next((code_of(name) for name in names if name), "-")
