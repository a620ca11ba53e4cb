"""`relay fill`: which prints could fill a range, and how good they are there."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, NamedTuple

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


class Found(NamedTuple):
    """What was found for one range."""

    frames: FrameRange
    held: tuple[FrameRange, ...]
    """By the print itself."""
    fills: tuple[Fill, ...]
    looks: "Mapping[VersionName, Look]"
    kinds: Mapping[VersionName, str]


def fill(
    context: typer.Context,
    place: Annotated[str, typer.Argument(metavar="REEL:FRAMES", help="What is to be filled: A/R03:3412-3440.")],
    shot: ShotNumber = None,
    shots: Annotated[bool, typer.Option("--shots", help="Every shot of the reel, one after another.")] = False,
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
    if wanted.reel is None or len(wanted.frames) > 1 or not (wanted.frames or shot or shots):
        raise RefusedError(
            f"{place!r} is no range of one reel: write it like A/R03:3412-3440, or name its --shot, or --shots for all"
        )
    if shots and (wanted.frames or shot):
        raise RefusedError(f"--shots shows every shot of {wanted.reel}: name no frames and no --shot with it")
    if not no_pictures:
        check_media()
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        (one,) = prints_named(desk, state, wanted.reel, with_shots=shots or shot is not None)
        spans = _spans(one, wanted.frames, shot, shots=shots)
        found = [_found(desk, state, one, span, no_pictures=no_pictures) for span in spans]
        facts: dict[str, object] = {"version": one.version}
        if shots:
            facts["shots"] = [{"shot": number, **_facts(each)} for number, each in enumerate(found, 1)]
        else:
            facts |= _facts(found[0])
        kept = _kept(desk, one, merged((each.first, each.last) for each in spans), facts) if keep else None

    def show(page: Page) -> None:
        for number, each in enumerate(found, 1):
            if shots:
                page.line(f"Shot {number} of {len(found)}, {each.frames}:")
            _show_found(page, one, each)
        if any(len(each.looks) > 1 for each in found):
            page.line("Scans of one size compare. Nothing is chosen: `relay decide` says a choice.")
        if kept:
            page.line(kept_in_words(kept))

    answer({**facts, "kept": kept.entry if kept else None}, as_json=as_json, show=show)


def _spans(one: Print, frames: Sequence[FrameRange], shot: int | None, *, shots: bool) -> tuple[FrameRange, ...]:
    if shot is not None:
        return (shot_of(one, shot, *frames),)
    if shots and one.shots is None:
        raise RefusedError(f"nobody looked at {one.version} for cuts: name frames in the place of --shots")
    return one.spans() if shots else tuple(frames)


def _found(desk: Desk, state: State, one: Print, span: FrameRange, *, no_pictures: bool) -> Found:
    fills, held = filled_by(one, span), merged(inside((span.first, span.last), one.held))
    sources = {one.version: held} | {each.version: each.frames for each in fills}
    looks = {} if no_pictures else _looks(desk, state, sources)
    return Found(span, held, fills, looks, {name: kind_in_words(state, name) for name in sources})


def _facts(found: Found) -> dict[str, object]:
    argued = arguments(found.looks, found.kinds)
    return {
        "frames": pairs_of([found.frames])[0],
        "held": pairs_of(found.held),
        "fills": [fill_facts(each) for each in found.fills],
        "quality": {name: look._asdict() for name, look in found.looks.items()},
        "generation": found.kinds,
        "arguments": {name: {"for": good, "against": bad} for name, (good, bad) in argued.items()},
    }


def _kept(desk: Desk, one: Print, frames: tuple[FrameRange, ...], facts: Mapping[str, object]) -> Material:
    reel, ends = reel_of(one.version), FrameRange(first=frames[0].first, last=frames[-1].last)
    name = f"fill_{reel.replace('/', '_')}_{ends}.json"
    return keep_facts(desk, name, facts, About(reel, frames), "who could fill it, and how good it is there")


def _looks(
    desk: Desk, state: State, sources: Mapping[VersionName, tuple[FrameRange, ...]]
) -> "dict[VersionName, Look]":
    from relay.transfer.measured import quality_at  # what it needs is installed

    return {name: quality_at(desk, state.versions[name], frames) for name, frames in sources.items() if frames}


def _show_found(page: Page, one: Print, found: Found) -> None:
    page.line(f" itself holds {in_words(found.held)} of {found.frames}.", head=one.version)
    for each in found.fills:
        if not each.count:
            none = f" may have it: of {each.unknown} of {each.wanted} frames nothing is known."
            page.line(none if each.unknown else " has nothing of it.", head=each.version)
            continue
        many = f"{each.count} of {each.wanted}" if each.count <= each.wanted else f"{each.wanted} of these {each.count}"
        page.line(f" at {in_words(each.frames)}: {many} frames{_trust(each)}.", head=each.version)
    if found.looks:
        heads = ("print", "sharp %", "grain %", "dark %", "light %", "damage ‰", "picture %", "decay %", "generation")
        page.table(heads, [(name, *_figures(look), found.kinds[name]) for name, look in found.looks.items()])
        _argue(page, found)


def _argue(page: Page, found: Found) -> None:
    if len(found.looks) < 2:
        return
    for name, (good, bad) in arguments(found.looks, found.kinds).items():
        said = [f"for it: {', '.join(good)}"] if good else []
        said += [f"against it: {', '.join(bad)}"] if bad else []
        page.line(f" has {'; '.join(said) or 'nothing by enough to count for it or against it'}.", head=name)


def _trust(fill: Fill) -> str:
    by = f", by way of {', '.join(fill.by)}" if fill.by else ""
    unknown = f"; of {fill.unknown} nothing is known" if fill.unknown else ""
    if fill.sure:
        return f", surely ({fill.chance} %){by}"
    return f", not surely ({fill.chance} %){by}{unknown}: look at both"


def _figures(look: "Look") -> tuple[str, ...]:
    told = (f"{look.sharpness:.1f}", f"{look.grain:.2f}", f"{look.dark:.1f}", f"{look.light:.1f}")
    return (*told, f"{look.damage:.2f}", f"{look.wide:.0f} x {look.high:.0f}", f"{look.decay:.1f}")
