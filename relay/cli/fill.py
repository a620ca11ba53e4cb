"""`relay fill`: which prints could fill a range, and how good they are there."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.arguing import arguments
from relay.cli.keeping import Keep, keep_facts, kept_in_words
from relay.cli.numbers import pairs_of
from relay.cli.prints import fill_facts, prints_named
from relay.cli.shots import ShotNumber, shot_of
from relay.errors import RefusedError
from relay.ledger.state import Material, State
from relay.media.eyes import check_media
from relay.model import FrameRange, VersionName, inside, merged, reel_of
from relay.programme.lacking import Fill, Print, filled_by
from relay.transfer.covering import kind_in_words
from relay.transfer.desk import Desk
from relay.transfer.material import About
from relay.wiring import open_desk
from relay.wording import in_words, parse_place

if TYPE_CHECKING:
    from relay.media.quality import Look


def fill(
    context: typer.Context,
    place: Annotated[str, typer.Argument(metavar="REEL:FRAMES", help="What is to be filled: A/R03:3412-3440.")],
    shot: ShotNumber = None,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Fetch no frames, and say nothing of how good they are.")
    ] = False,
    keep: Keep = False,
    as_json: AsJson = False,
) -> None:
    """Show which prints could fill a range, and how well.

    Some frames of each are fetched and measured. The figures serve to argue a choice: `relay decide` says it, and
    nothing is chosen here. `--keep` keeps them, so that a decision can name what was looked at.
    """
    wanted = parse_place(place)
    if wanted.reel is None or len(wanted.frames) > 1 or not (wanted.frames or shot):
        raise RefusedError(f"{place!r} is no range of one reel: write it like A/R03:3412-3440, or name its --shot")
    if not no_pictures:
        check_media()
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        (one,) = prints_named(desk, state, wanted.reel, with_shots=shot is not None)
        span = shot_of(one, shot, *wanted.frames) if shot else wanted.frames[0]
        fills = filled_by(one, span)
        sources = {one.version: _held(one, span)} | {each.version: each.frames for each in fills}
        looks = {} if no_pictures else _looks(desk, state, sources)
        kinds = {name: kind_in_words(state, name) for name in sources}
        facts = {
            "version": one.version,
            "frames": pairs_of([span])[0],
            "held": pairs_of(sources[one.version]),
            "fills": [fill_facts(each) for each in fills],
            "quality": {name: look._asdict() for name, look in looks.items()},
            "generation": kinds,
            "arguments": {name: {"for": good, "against": bad} for name, (good, bad) in arguments(looks, kinds).items()},
        }
        kept = _kept(desk, one, span, facts) if keep else None

    def show(page: Page) -> None:
        _show_fills(page, one, span, fills, looks, kinds)
        if kept:
            page.line(kept_in_words(kept))

    answer({**facts, "kept": kept.entry if kept else None}, as_json=as_json, show=show)


def _kept(desk: Desk, one: Print, span: FrameRange, facts: Mapping[str, object]) -> Material:
    reel = reel_of(one.version)
    name = f"fill_{reel.replace('/', '_')}_{span}.json"
    return keep_facts(desk, name, facts, About(reel, (span,)), "who could fill it, and how good it is there")


def _looks(
    desk: Desk, state: State, sources: Mapping[VersionName, tuple[FrameRange, ...]]
) -> "dict[VersionName, Look]":
    from relay.transfer.measured import quality_at  # what it needs is installed

    return {name: quality_at(desk, state.versions[name], frames) for name, frames in sources.items() if frames}


def _held(one: Print, wanted: FrameRange) -> tuple[FrameRange, ...]:
    return merged(inside((wanted.first, wanted.last), one.held))


def _show_fills(
    page: Page,
    one: Print,
    wanted: FrameRange,
    fills: tuple[Fill, ...],
    looks: "Mapping[VersionName, Look]",
    kinds: Mapping[VersionName, str],
) -> None:
    held = _held(one, wanted)
    page.line(f" itself holds {in_words(held)} of {wanted}.", head=one.version)
    for each in fills:
        if not each.count:
            none = f" may have it: of {each.unknown} of {each.wanted} frames nothing is known."
            page.line(none if each.unknown else " has nothing of it.", head=each.version)
            continue
        many = f"{each.count} of {each.wanted}" if each.count <= each.wanted else f"{each.wanted} of these {each.count}"
        page.line(f" at {in_words(each.frames)}: {many} frames{_trust(each)}.", head=each.version)
    if looks:
        heads = ("print", "sharp %", "grain %", "dark %", "light %", "damage ‰", "picture %", "decay %", "generation")
        page.table(heads, [(name, *_figures(look), kinds[name]) for name, look in looks.items()])
        _argue(page, looks, kinds)


def _argue(page: Page, looks: "Mapping[VersionName, Look]", kinds: Mapping[VersionName, str]) -> None:
    if len(looks) < 2:
        return
    for name, (good, bad) in arguments(looks, kinds).items():
        said = [f"for it: {', '.join(good)}"] if good else []
        said += [f"against it: {', '.join(bad)}"] if bad else []
        page.line(f" has {'; '.join(said) or 'nothing by enough to count for it or against it'}.", head=name)
    page.line("Scans of one size compare. Nothing is chosen: `relay decide` says a choice.")


def _trust(fill: Fill) -> str:
    by = f", by way of {', '.join(fill.by)}" if fill.by else ""
    unknown = f"; of {fill.unknown} nothing is known" if fill.unknown else ""
    if fill.sure:
        return f", surely ({fill.chance} %){by}"
    return f", not surely ({fill.chance} %){by}{unknown}: look at both"


def _figures(look: "Look") -> tuple[str, ...]:
    told = (f"{look.sharpness:.1f}", f"{look.grain:.2f}", f"{look.dark:.1f}", f"{look.light:.1f}")
    return (*told, f"{look.damage:.2f}", f"{look.wide:.0f} x {look.high:.0f}", f"{look.decay:.1f}")
