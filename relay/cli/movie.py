"""`relay movie`: a reference movie of the programme, from what there is of it so far."""

import shutil
import tempfile
from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.cut import Held, RateText, ground_of, read_cut_list
from relay.cli.making import writing
from relay.cli.numbers import pairs_of
from relay.cli.progress import watching
from relay.errors import MissingError
from relay.film.rates import format_rate
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.media.showing import LINES, MovieOrder
from relay.model import FrameRange, ReelName
from relay.programme.cutlist import CutList
from relay.programme.playing import missing_of, movie_order
from relay.transfer.desk import Desk
from relay.transfer.making import made
from relay.transfer.showing import bring_sound, bring_strip
from relay.transfer.sounds import sound_of
from relay.wiring import open_desk
from relay.wording import in_words


def movie(
    context: typer.Context,
    cut_list: Annotated[Path, typer.Argument(metavar="LIST", help="The cut list.")],
    target: Annotated[Path, typer.Argument(metavar="FILE", help="The movie to write, such as programme.mov.")],
    sound: Annotated[
        str | None, typer.Option(metavar="FILE|VERSION", help="The sound, from the first picture on.")
    ] = None,
    lines: Annotated[int, typer.Option(metavar="LINES", help="How high the movie is.", min=120, max=2160)] = LINES,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Make a movie of the programme to look at.

    Each reel is shown from its reference copy, or from its frames where there is none, at the speed that the list says;
    what nobody has is slated. Only what is shown is fetched.
    """
    check_media()
    with (
        tempfile.TemporaryDirectory(prefix="relay-movie-") as folder,
        open_desk(context.obj) as desk,
        watching(f"making {target.name}", quiet=as_json),
    ):
        state = desk.ledger.follow()
        listed = read_cut_list(cut_list, ground_of(state.film(), rate, held=held)).cut_list
        order, missing = _ordered(desk, state, listed, sound, Path(folder), (target.stem, lines))
        found = made("relay.media.playing", order, Path(folder), target)
        with writing(target):
            shutil.copyfile(found, target)
    facts = {
        "file": str(target),
        "pictures": len(order.shots),
        "rate": str(listed.rate),
        "sound": order.sound is not None,
        "missing": {reel: pairs_of(frames) for reel, frames in missing.items()},
        "slated": sum(shot.slate >= 0 for shot in order.shots),
    }
    answer(facts, as_json=as_json, show=lambda page: _show(page, target, order, missing))


def _ordered(
    desk: Desk, state: State, listed: CutList, sound: str | None, place: Path, how: tuple[str, int]
) -> tuple[MovieOrder, dict[ReelName, tuple[FrameRange, ...]]]:
    found = (
        bring_strip(desk, state, reel, frames, place / reel.replace("/", "_"))
        for reel, frames in listed.needed().items()
    )
    strips = [strip for strip in found if strip is not None]
    heard = None if sound is None else _sound(desk, sound, place)
    return movie_order(listed, strips, heard, *how), missing_of(listed, strips)


def _sound(desk: Desk, named: str, place: Path) -> str:
    path = Path(named)
    if path.is_file():
        return str(path.absolute())
    if path.suffix:
        raise MissingError(f"there is no sound {path}: name a WAV or FLAC file, or a version that holds one")
    version = desk.ledger.state.version(named)
    return str(bring_sound(desk, version, sound_of(desk, version), place))


def _show(page: Page, target: Path, order: MovieOrder, missing: dict[ReelName, tuple[FrameRange, ...]]) -> None:
    with_sound = "with sound" if order.sound else "without sound"
    pictures = count(len(order.shots), "picture")
    page.line(f": {pictures} at {format_rate(Fraction(order.rate))} a second, {with_sound}.", head=str(target))
    for reel, frames in missing.items():
        page.line(f" lacks {in_words(frames, 6)}: slated.", head=reel)
