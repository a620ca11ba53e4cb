"""`relay coverage`: prints as strips along one of them, in letters, as SVG and as PNG."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.keeping import Keep, kept_in_words
from relay.cli.numbers import pairs_of
from relay.cli.prints import prints_named
from relay.ledger.state import Material, State
from relay.media.eyes import check_media
from relay.model import code_of
from relay.programme.coverage import Covered, Strip, share_in_words
from relay.programme.coverage_picture import coverage_png, coverage_svg
from relay.store.folder import in_our_words
from relay.transfer.covering import covered_by, reels_along
from relay.transfer.desk import Desk
from relay.transfer.material import About, keep_paper
from relay.wiring import open_desk
from relay.wording import in_words


def coverage(
    context: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(metavar="ELEMENT|REEL", help="Along whose frames.", show_default="the first aligned element"),
    ] = None,
    svg: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it as SVG.")] = None,
    png: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it as PNG.")] = None,
    keep: Keep = False,
    as_json: AsJson = False,
) -> None:
    """Show which print holds which part of each reel, as strips.

    Along the frames of one element's reels, one after another. What is not sure is told apart from what is held, and
    what no print holds is marked. A duplicate, a negative and a print differ by pattern as well as by shade; so does
    what has decayed. `--keep` keeps the SVG.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        reels = _along(desk, state, what)
        title = f"{state.film().title}: what each print holds"
        kept = _kept(desk, reels, title) if keep else None
    if svg is not None:
        _written(svg, coverage_svg(reels, title).encode())
    if png is not None:
        check_media()
        _written(png, coverage_png(reels, title))
    facts = {"reels": [_covered_facts(each) for each in reels], "kept": kept.entry if kept else None}

    def show(page: Page) -> None:
        _show_covered(page, reels)
        if kept:
            page.line(kept_in_words(kept))

    answer(facts, as_json=as_json, show=show)


def _kept(desk: Desk, reels: Sequence[Covered], title: str) -> Material:
    code = code_of(reels[0].name)
    body = bytearray(coverage_svg(reels, title).encode())
    return keep_paper(desk, f"coverage_{code}.svg", body, About(code), "what each print holds")


def _written(file: Path, body: bytes) -> None:
    with in_our_words(str(file), "write it"):
        file.write_bytes(body)


def _along(desk: Desk, state: State, what: str | None) -> Sequence[Covered]:
    if what is None or "/" in what:
        prints = prints_named(desk, state, what)
        if what is not None:
            return [covered_by(desk, state, one) for one in prints]
        what = code_of(prints[0].version)
    return reels_along(desk, state, what)


def _covered_facts(reel: Covered) -> dict[str, object]:
    return {
        "along": reel.name,
        "frames": pairs_of([reel.axis])[0],
        "nowhere": pairs_of(reel.nowhere),
        "prints": [
            {
                "version": strip.name,
                "share": round(strip.share(reel.axis), 4),
                "by_way_of": list(strip.by),
                "stretches": [
                    {"frames": pairs_of([each.frames])[0], "holding": each.holding} for each in strip.stretches
                ],
                "has_more": [{"after": each.after, "length": each.length} for each in strip.inserts],
                "decay": None
                if strip.decay is None
                else [{"frames": pairs_of([each.frames])[0], "percent": each.share} for each in strip.decay],
            }
            for strip in reel.strips
        ],
    }


_LETTERS = {"held": "█", "not sure": "?", "not known": "-", "lacking": "·"}
_WORST = list(_LETTERS)


def _show_covered(page: Page, reels: Sequence[Covered]) -> None:
    for reel in reels:
        page.line(f", frames {reel.axis.first} to {reel.axis.last}: in no print: {in_words(reel.nowhere)}.",
                  head=f"along {reel.name}")  # fmt: skip
        rows = [
            (strip.name, strip.kind, share_in_words(strip, reel.axis), _letters(strip, reel)) for strip in reel.strips
        ]
        page.table(("print", "kind", "holds", "█ held  ? not sure  - not known  · lacking"), rows)
        for strip in reel.strips:
            _show_more(page, strip)


def _show_more(page: Page, strip: Strip) -> None:
    if strip.by:
        page.line(f" was not put beside it: known by way of {', '.join(strip.by)}.", head=strip.name)
    if strip.decay:
        told = in_words([each.frames for each in strip.decay], 6)
        page.line(f" has decayed at {told} of these frames.", head=strip.name)


def _letters(strip: Strip, reel: Covered, columns: int = 60) -> str:
    """Return one letter for each sixtieth of the reel: the worst that stands in it."""
    size = reel.axis.last - reel.axis.first + 1
    worst = ["held"] * columns
    for frames, holding in strip.stretches:
        first, end = (frame - reel.axis.first for frame in (frames.first, frames.last + 1))
        for column in range(first * columns // size, (end * columns - 1) // size + 1):
            worst[column] = max(worst[column], holding, key=_WORST.index)
    return "".join(_LETTERS[each] for each in worst)
