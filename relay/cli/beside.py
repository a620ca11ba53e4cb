"""`relay beside`: two to four prints in step, as a movie or a still."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from relay.cli.answer import AsJson, answer, count
from relay.cli.making import made
from relay.cli.progress import watching
from relay.errors import MissingError, RefusedError
from relay.film.rates import parse_rate
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.model import FrameRange, VersionName, ranges_of, reel_of
from relay.programme.beside import Lacks, Step, in_step
from relay.programme.lacking import Print
from relay.store.folder import in_our_words
from relay.transfer.aligned import aligned_version, print_of
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import parse_place

if TYPE_CHECKING:
    from relay.media.beside import Pane


def beside(
    context: typer.Context,
    place: Annotated[str, typer.Argument(metavar="REEL[:FRAMES]", help="What is looked at: A/R03:3412-3440.")],
    target: Annotated[Path, typer.Argument(metavar="FILE", help="The movie, or a still of its first frame: x.png.")],
    others: Annotated[
        list[str] | None, typer.Argument(metavar="REEL...", help="Up to three other prints.", show_default="all")
    ] = None,
    speed: Annotated[str, typer.Option(metavar="FPS", help="Frames a second.")] = "18",
    as_json: AsJson = False,
) -> None:
    """Show two to four prints in step, as a movie or a still.

    By their frame maps, each with its own numbers under it. Where one lacks frames that another has, a slate counts
    them. Only what is shown is fetched.
    """
    check_media()
    wanted = parse_place(place)
    if wanted.reel is None or len(wanted.frames) > 1:
        raise RefusedError(f"{place!r} is no reel and no range of one: write it like A/R03 or A/R03:3412-3440")
    try:
        rate = parse_rate(speed)
    except ValueError as fault:
        raise RefusedError(f"--speed {speed}: {fault}") from fault
    with (
        tempfile.TemporaryDirectory(prefix="relay-beside-") as folder,
        open_desk(context.obj) as desk,
        watching(f"making {target.name}", quiet=as_json),
    ):
        state = desk.ledger.follow()
        one = print_of(desk, state, aligned_version(state, wanted.reel))
        names = _others(state, one, others or [])
        steps = _steps(one, names, wanted.frames[0] if wanted.frames else None)
        if target.suffix.lower() == ".png":
            steps = steps[:1]
        _make(desk, state, (one.version, *names), steps, (str(rate), Path(folder), target))
    lacking = [sum(isinstance(step[number], Lacks) for step in steps) for number in range(len(names) + 1)]
    facts = {
        "file": str(target),
        "prints": [one.version, *names],
        "steps": len(steps),
        "slated": dict(zip((one.version, *names), lacking, strict=True)),
    }
    told = ", ".join(f"{name} slated in {slated}" for name, slated in zip((one.version, *names), lacking, strict=True))
    answer(
        facts, as_json=as_json, show=lambda page: page.line(f": {count(len(steps), 'step')}; {told}.", head=str(target))
    )


def _others(state: State, one: Print, named: Sequence[str]) -> tuple[VersionName, ...]:
    found = tuple(aligned_version(state, each).name for each in named) if named else tuple(sorted(one.maps))
    if not found:
        raise MissingError(f"{one.version} was put beside no other print yet: there is nothing to show it with")
    if len(found) > 3:
        raise RefusedError(f"{one.version} and {len(found)} others: at most four are shown at once, name up to three")
    return found


def _steps(one: Print, names: tuple[VersionName, ...], wanted: FrameRange | None) -> tuple[Step, ...]:
    whole = FrameRange(first=one.held[0].first, last=one.held[-1].last)
    try:
        steps = in_step(one, names, wanted or whole)
    except ValueError as fault:
        raise RefusedError(str(fault)) from fault
    if not steps:
        raise MissingError(f"neither {one.version} nor another print has anything of frames {wanted}")
    return steps


def _make(
    desk: Desk,
    state: State,
    names: tuple[VersionName, ...],
    steps: tuple[Step, ...],
    how: tuple[str, Path, Path],
) -> None:
    from relay.media.beside import Beside

    rate, folder, target = how
    panes = tuple(_pane(desk, state, name, number, steps, folder) for number, name in enumerate(names))
    lacks = {
        f"{at},{place}": (seen.place, seen.length)
        for at, step in enumerate(steps)
        for place, seen in enumerate(step)
        if isinstance(seen, Lacks)
    }
    shown = tuple(tuple(None if isinstance(seen, Lacks) else seen for seen in step) for step in steps)
    order = Beside(rate=rate, panes=panes, steps=shown, lacks=lacks, title=" beside ".join(names))
    found = made("relay.media.beside", order, folder, target)
    with in_our_words(str(target), "write it"):
        target.write_bytes(found.read_bytes())


def _pane(desk: Desk, state: State, name: VersionName, number: int, steps: tuple[Step, ...], folder: Path) -> "Pane":
    from relay.media.beside import Pane
    from relay.media.showing import Strip
    from relay.transfer.showing import bring_frames

    wanted = ranges_of({seen for step in steps if not isinstance(seen := step[number], Lacks)})
    strip = bring_frames(desk, state.versions[name], wanted, folder / f"print{number}") or Strip(reel=reel_of(name))
    element = state.film().element_of(reel_of(name))
    return Pane(name=name, gauge=element.gauge if element else "35mm", strip=strip)
