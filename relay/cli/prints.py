"""`relay gaps`, `relay late`: what each print lacks and which has it; what a print that came late adds."""

from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.disputes import dispute_facts, show_disputes
from relay.cli.keeping import Keep
from relay.cli.numbers import pairs_of
from relay.errors import MissingError
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.model import VersionName
from relay.programme.framemap import FrameMap
from relay.programme.lacking import Fill, Gap, Print, by_shot, gaps_of, lacked
from relay.transfer.aligned import aligned_version, prints_of
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import in_words


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
        found = [(one, gaps_of(one)) for one in prints_named(desk, state, what, with_shots=by_shots)]
    facts = {"prints": [_facts(one, lacking) for one, lacking in found]}
    answer(facts, as_json=as_json, show=lambda page: _show(page, found))


def prints_named(desk: Desk, state: State, what: str | None, *, with_shots: bool = False) -> list[Print]:
    named = sorted(state.aligned())
    if what is not None:
        version = aligned_version(state, what)
        if version.name not in named:
            raise MissingError(f"{version.name} was put beside no other print yet: nothing is known of what it lacks")
        named = [version.name]
    if not named:
        raise MissingError("no two prints were put side by side yet: nothing is known of what either lacks")
    return prints_of(desk, state, [state.versions[name] for name in named], with_shots=with_shots)


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
                "fills": [fill_facts(each) for each in gap.fills],
            }
            for gap in lacking
        ],
        "disputed": dispute_facts(one.disputed),
        "shots": None
        if one.shots is None
        else [{**each._asdict(), "frames": pairs_of([each.frames])[0]} for each in by_shot(one, lacking)],
    }


def fill_facts(fill: Fill) -> dict[str, object]:
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


def _show_strangers(page: Page, one: Print) -> None:
    """Say which prints share nothing with it: then where their frames belong is not known."""
    for name, frame_map in sorted(one.maps.items()):
        if not frame_map.by and not frame_map.there.frames(matched=True):
            page.line(f" shares nothing with {name} that was found: `relay align` says what to do.", head=one.version)


def _show(page: Page, found: list[tuple[Print, tuple[Gap, ...]]]) -> None:
    for one, lacking in found:
        beside = f", beside {', '.join(map(_way, sorted(one.maps.items())))}"
        if not lacking:
            page.line(f" lacks nothing that is known of{beside}.", head=one.version)
            _show_strangers(page, one)
            show_disputes(page, one.version, one.disputed)
            continue
        places = count(len(lacking), "place")
        frames, has, surely = lacked(lacking)
        page.line(f" lacks {count(frames, 'frame')} in {places}{beside}:", head=one.version)
        page.table(("where", "frames", "who has it"), [(_where(gap), str(gap.length), _who(gap)) for gap in lacking])
        page.line(_in_all(frames, has, surely, sum(gap.not_known() for gap in lacking)))
        _show_strangers(page, one)
        show_disputes(page, one.version, one.disputed)
        _show_shots(page, one, lacking)


def _in_all(lacks: int, found: int, surely: int, unknown: int = 0) -> str:
    """Say how much of what a print lacks can be had elsewhere."""
    parts = ((surely, "other prints have {} surely", "all"), (found - surely, "others may have {}: look", "all"),
             (lacks - found - unknown, "no print that is known of has {}", "any"),
             (unknown, "nobody knows who has {}", "any"))  # fmt: skip
    told = [words.format(f"{number:,}" if number < lacks else whole) for number, words, whole in parts if number]
    return f"Of the {lacks:,}, {'; '.join(told)}."


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
    told = [f"{fill.version} {_at(fill)}{in_words(fill.frames, 4)}{_how(fill)}" for fill in gap.fills]
    told += [f"not known of {', '.join(gap.unknown)}"] if gap.unknown else []
    return "; ".join(told) + ("; no print has all of it" if gap.fills and gap.is_nowhere() else "") or "no print"


def _at(fill: Fill) -> str:
    return f"{fill.wanted} of these, look which: " if fill.count > fill.wanted else "at "


def _how(fill: Fill) -> str:
    part = "" if fill.is_whole() else f", {fill.count} of {fill.wanted}"
    if fill.sure:
        return part
    core = f"surely {in_words(fill.certain, 4)}" if fill.certain else "none of it surely"
    edge = f", at most {fill.widest}" if fill.widest and fill.widest not in fill.frames else ""
    return f"{part} ({core}{edge}: look)"


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
    keep: Keep = False,
    as_json: AsJson = False,
) -> None:
    """Report on a print that came late: what it adds and costs.

    Which gaps of the other prints it fills, how it looks beside them, the frames, bytes and hours for what fills gaps
    and for all of it, and whether the premiere allows either. Nothing is chosen, and nothing saved without `--keep`.
    """
    from relay.cli.late import answer_late

    if not no_pictures:
        check_media()
    shots = 0 if no_pictures else places
    answer_late(context.obj, element, site=site, places=shots, seconds=seconds, keep=keep, as_json=as_json)
