"""`relay gaps`, `relay fill`, `relay coverage`, `relay late`: what each print lacks, which has it, how good it is."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.numbers import pairs_of
from relay.cli.shots import ShotNumber, shot_of
from relay.errors import MissingError, RefusedError
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.model import FrameRange, VersionName, inside, merged
from relay.programme.coverage import Covered, Strip
from relay.programme.coverage_picture import coverage_png, coverage_svg
from relay.programme.framemap import FrameMap
from relay.programme.lacking import Fill, Gap, Print, by_shot, filled_by, gaps_of, lacked
from relay.store.folder import in_our_words
from relay.transfer.aligned import aligned_version, print_of
from relay.transfer.covering import covered_by, kind_in_words, reels_along
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import in_words, parse_place

if TYPE_CHECKING:
    from relay.media.quality import Look


def gaps(
    context: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(metavar="REEL|VERSION", help="One print's reel.", show_default="every print put beside another"),
    ] = None,
    by_shots: Annotated[
        bool, typer.Option("--shots", help="Say it by shot, too: fetches the thumbnails that inspections kept.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show what each print lacks and which other print has it.

    By the frame maps of prints that were put side by side: holes in a print's own numbers, and frames that others have
    where its numbers leave no room. A place that no print fills is said to be nowhere.
    """
    if by_shots:
        check_media()
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        found = [(one, gaps_of(one)) for one in _prints(desk, state, what, with_shots=by_shots)]
    facts = {"prints": [_facts(one, lacking) for one, lacking in found]}
    answer(facts, as_json=as_json, show=lambda page: _show(page, found))


def _prints(desk: Desk, state: State, what: str | None, *, with_shots: bool = False) -> list[Print]:
    named = sorted(state.aligned())
    if what is not None:
        version = aligned_version(state, what)
        if version.name not in named:
            raise MissingError(f"{version.name} was put beside no other print yet: nothing is known of what it lacks")
        named = [version.name]
    if not named:
        raise MissingError("no two prints were put side by side yet: nothing is known of what either lacks")
    return [print_of(desk, state, state.versions[name], with_shots=with_shots) for name in named]


def _facts(one: Print, lacking: tuple[Gap, ...]) -> dict[str, object]:
    return {
        "version": one.version,
        "beside": sorted(one.maps),
        "by_way_of": {name: list(frame_map.by) for name, frame_map in one.maps.items() if frame_map.by},
        "lacks": sum(gap.length for gap in lacking),
        "found": sum(gap.found() for gap in lacking),
        "surely": sum(gap.surely() for gap in lacking),
        "gaps": [
            {
                "frames": pairs_of([gap.frames])[0] if gap.frames else None,
                "after": gap.after,
                "length": gap.length,
                "nowhere": gap.is_nowhere(),
                "not_known_of": list(gap.unknown),
                "shot": gap.shot,
                "fills": [_fill_facts(each) for each in gap.fills],
            }
            for gap in lacking
        ],
        "shots": None
        if one.shots is None
        else [{**each._asdict(), "frames": pairs_of([each.frames])[0]} for each in by_shot(one, lacking)],
    }


def _fill_facts(fill: Fill) -> dict[str, object]:
    return {
        "version": fill.version,
        "frames": pairs_of(fill.frames),
        "count": fill.count,
        "wanted": fill.wanted,
        "whole": fill.is_whole(),
        "sure": fill.sure,
        "certain": pairs_of(fill.certain),
        "widest": pairs_of([fill.widest])[0] if fill.widest else None,
        "chance": fill.chance,
        "unknown": fill.unknown,
        "by_way_of": list(fill.by),
    }


def _show(page: Page, found: list[tuple[Print, tuple[Gap, ...]]]) -> None:
    for one, lacking in found:
        beside = f", beside {', '.join(map(_way, sorted(one.maps.items())))}"
        if not lacking:
            page.line(f" lacks nothing that is known of{beside}.", head=one.version)
            continue
        places = count(len(lacking), "place")
        frames, has, surely = lacked(lacking)
        page.line(f" lacks {count(frames, 'frame')} in {places}{beside}:", head=one.version)
        page.table(("where", "frames", "who has it"), [(_where(gap), str(gap.length), _who(gap)) for gap in lacking])
        told = f"Of the {frames}, other prints have {surely} surely and {has - surely} perhaps"
        page.line(f"{told}; {frames - has} are in no print that is known of.")
        _show_shots(page, one, lacking)


def _way(other: tuple[VersionName, FrameMap]) -> str:
    return other[0] + (f" (by way of {', '.join(other[1].by)})" if other[1].by else "")


def _show_shots(page: Page, one: Print, lacking: tuple[Gap, ...]) -> None:
    if one.shots is None:
        return
    rows = [
        (f"{each.shot}", str(each.frames), *map(str, (each.places, each.lacks, each.surely, each.found - each.surely)))
        for each in by_shot(one, lacking)
    ]
    page.line(f"By shot, of {len(one.spans())}:")
    page.table(("shot", "its frames", "places", "lacks", "others have surely", "perhaps"), rows)


def _where(gap: Gap) -> str:
    if gap.frames is not None:
        return str(gap.frames)
    return "before its first frame" if gap.after is None else f"after {gap.after}"


def _who(gap: Gap) -> str:
    told = [f"{fill.version} at {in_words(fill.frames, 4)}{_how(fill)}" for fill in gap.fills]
    told += [f"not known of {', '.join(gap.unknown)}"] if gap.unknown else []
    return "; ".join(told) + ("; no print has all of it" if gap.fills and gap.is_nowhere() else "") or "no print"


def _how(fill: Fill) -> str:
    part = "" if fill.is_whole() else f", {fill.count} of {fill.wanted}"
    if fill.sure:
        return part
    core = f"surely {in_words(fill.certain, 4)}" if fill.certain else "none of it surely"
    edge = f", at most {fill.widest}" if fill.widest and fill.widest not in fill.frames else ""
    return f"{part} ({core}{edge}: look)"


def fill(
    context: typer.Context,
    place: Annotated[str, typer.Argument(metavar="REEL:FRAMES", help="What is to be filled: A/R03:3412-3440.")],
    shot: ShotNumber = None,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Fetch no frames, and say nothing of how good they are.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show which prints could fill a range, and how well.

    Some frames of each are fetched and measured. The figures serve to argue a choice: `relay decide` says it, and
    nothing is chosen here.
    """
    wanted = parse_place(place)
    if wanted.reel is None or len(wanted.frames) > 1 or not (wanted.frames or shot):
        raise RefusedError(f"{place!r} is no range of one reel: write it like A/R03:3412-3440, or name its --shot")
    if not no_pictures:
        check_media()
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        (one,) = _prints(desk, state, wanted.reel, with_shots=shot is not None)
        span = shot_of(one, shot, *wanted.frames) if shot else wanted.frames[0]
        fills = filled_by(one, span)
        sources = {one.version: _held(one, span)} | {each.version: each.frames for each in fills}
        looks = {} if no_pictures else _looks(desk, state, sources)
        kinds = {name: kind_in_words(state, name) for name in sources}
    facts = {
        "version": one.version,
        "frames": pairs_of([span])[0],
        "held": pairs_of(sources[one.version]),
        "fills": [_fill_facts(each) for each in fills],
        "quality": {name: look._asdict() for name, look in looks.items()},
        "generation": kinds,
    }
    answer(facts, as_json=as_json, show=lambda page: _show_fills(page, one, span, fills, looks, kinds))


def _looks(
    desk: Desk, state: State, sources: Mapping[VersionName, tuple[FrameRange, ...]]
) -> "dict[VersionName, Look]":
    from relay.transfer.measured import quality_at  # what it needs is installed

    return {name: quality_at(desk, state.versions[name], frames) for name, frames in sources.items() if frames}


def coverage(
    context: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(metavar="ELEMENT|REEL", help="Along whose frames.", show_default="the first aligned element"),
    ] = None,
    svg: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it as SVG.")] = None,
    png: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it as PNG.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show which print holds which part of each reel, as strips.

    Along the frames of one element's reels, one after another. What is not sure is told apart from what is held, and
    what no print holds is marked. A duplicate, a negative and a print differ by pattern as well as by shade.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        reels = _along(desk, state, what)
        title = f"{state.film().title}: what each print holds"
    if svg is not None:
        _written(svg, coverage_svg(reels, title).encode())
    if png is not None:
        check_media()
        _written(png, coverage_png(reels, title))
    facts = {"reels": [_covered_facts(each) for each in reels]}
    answer(facts, as_json=as_json, show=lambda page: _show_covered(page, reels))


def _written(file: Path, body: bytes) -> None:
    with in_our_words(str(file), "write it"):
        file.write_bytes(body)


def _along(desk: Desk, state: State, what: str | None) -> Sequence[Covered]:
    if what is None or "/" in what:
        prints = _prints(desk, state, what)
        if what is not None:
            return [covered_by(desk, state, one) for one in prints]
        what = prints[0].version.partition("/")[0]
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
        page.line(f", frames {reel.axis.first} to {reel.axis.last}: in no print {in_words(reel.nowhere)}.",
                  head=f"along {reel.name}")  # fmt: skip
        rows = [
            (strip.name, strip.kind, f"{100 * strip.share(reel.axis):.1f} %", _letters(strip, reel))
            for strip in reel.strips
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
        ends = (frames.first - reel.axis.first, frames.last - reel.axis.first)
        for column in range(ends[0] * columns // size, ends[1] * columns // size + 1):
            worst[column] = max(worst[column], holding, key=_WORST.index)
    return "".join(_LETTERS[each] for each in worst)


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
        page.line(
            f" at {in_words(each.frames)}: {each.count} of {each.wanted} frames{_trust(each)}.", head=each.version
        )
    if looks:
        heads = ("print", "sharp %", "grain %", "dark %", "light %", "damage ‰", "picture %", "generation")
        page.table(heads, [(name, *_figures(look), kinds[name]) for name, look in looks.items()])


def _trust(fill: Fill) -> str:
    by = f", by way of {', '.join(fill.by)}" if fill.by else ""
    unknown = f"; of {fill.unknown} nothing is known" if fill.unknown else ""
    if fill.sure:
        return f", surely ({fill.chance} %){by}"
    return f", not surely ({fill.chance} %){by}{unknown}: look at both"


def _figures(look: "Look") -> tuple[str, ...]:
    told = (f"{value:.1f}" for value in (look.sharpness, look.grain, look.dark, look.light))
    return (*told, f"{look.damage:.2f}", f"{look.wide:.0f} x {look.high:.0f}")


def late(
    context: typer.Context,
    element: Annotated[str, typer.Argument(metavar="ELEMENT", help="The print that came: its code, such as C.")],
    site: Annotated[
        str | None, typer.Option(metavar="SITE", help="At whose rates.", show_default="every site that could")
    ] = None,
    places: Annotated[
        int, typer.Option(metavar="SHOTS", min=1, max=100, help="In how many shots of each reel it is measured.")
    ] = 3,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Fetch no frames, and say nothing of how good they are.")
    ] = False,
    seconds: Annotated[
        float, typer.Option(metavar="SECONDS", min=0, max=3600, help="How long better plans are looked for.")
    ] = 1.0,
    as_json: AsJson = False,
) -> None:
    """Report on a print that came late: what it adds and costs.

    Which gaps of the other prints it fills, how it looks beside them, the frames, bytes and hours for what fills gaps
    and for all of it, and whether the premiere allows either. Nothing is saved, and nothing is chosen.
    """
    from relay.cli.late import answer_late

    if not no_pictures:
        check_media()
    shots = 0 if no_pictures else places
    answer_late(context.obj, element, site=site, places=shots, seconds=seconds, as_json=as_json)
