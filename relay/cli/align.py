"""`relay align` and `relay pin`: two prints of a reel side by side, and what people saw of it."""

from typing import Annotated, Any

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.disputes import dispute_facts, show_disputes
from relay.cli.numbers import pairs_of
from relay.cli.typed import Person, checked_note
from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.model import frame_count, reel_of
from relay.programme.framemap import FrameMap, Lacking
from relay.transfer.aligning import Turned, turned_round
from relay.transfer.aligning import align as put_side_by_side
from relay.transfer.looked import pictured_version
from relay.transfer.maps import Shelf
from relay.transfer.pinning import pin_in_words, pin_of, say_pin
from relay.wiring import open_desk
from relay.wording import in_words

_SHOWN = 20
PRINT_HELP = "A version, such as A/R03/v2, or a reel: its newest version whose frames were looked at."


def align(
    context: typer.Context,
    one: Annotated[str, typer.Argument(metavar="PRINT", help=PRINT_HELP)],
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The other print's.")],
    as_json: AsJson = False,
) -> None:
    """Put two prints of a reel side by side.

    It tells which frame of one shows what a frame of the other shows, by the thumbnails that an inspection left:
    neither print is fetched. What people pinned is kept to.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        versions = pictured_version(state, one), pictured_version(state, other)
        if reel_of(versions[0].name) == reel_of(versions[1].name):
            raise RefusedError(f"{one} and {other} are of one reel: name two prints of it, such as A/R03 and B/R03")
        found, entry = put_side_by_side(desk, *versions)
        by = Shelf(desk, desk.ledger.state).disputed_from(found.one)
        turned = None if found.there.frames(matched=True) else turned_round(desk, *versions)
    disputed = {found.other: by[found.other]} if found.other in by else {}

    def show(page: Page) -> None:
        _show(page, found, turned)
        show_disputes(page, found.one, disputed)

    facts = {**_facts(found, entry), "disputed": dispute_facts(disputed), "turned": turned}
    answer(facts, as_json=as_json, show=show)


def pin(
    context: typer.Context,
    one: Annotated[str, typer.Argument(metavar="PLACE", help="A frame of one print's reel, such as A/R03:3412.")],
    other: Annotated[
        str, typer.Argument(metavar="OTHER", help="The other's frame that shows the same; to lift a pin, its reel.")
    ],
    note: Annotated[
        str, typer.Option(metavar="TEXT", callback=checked_note, help="What was seen.", show_default=False)
    ] = "",
    lift: Annotated[bool, typer.Option("--lift", help="The pin on PLACE shall count no more.")] = False,
    person: Person = None,
    as_json: AsJson = False,
) -> None:
    """Say that frames of two prints show the same.

    The next alignment keeps to it. A later pin on either frame takes its place.
    """
    word = pin_of(one, other, lift=lift, note=note, person=person)
    with open_desk(context.obj) as desk:
        desk.ledger.follow()
        entry = say_pin(desk.ledger, desk.pen, word)
    facts = {"one": one, "other": other, "lifted": lift, "entry": entry.sequence if entry else None}
    said = pin_in_words(other, lift=lift)
    before = "" if entry else "; that was said before"
    answer(facts, as_json=as_json, show=lambda page: page.line(f" {said}{before}.", head=one))


def _facts(found: FrameMap, entry: Entry | None) -> dict[str, Any]:
    return {
        "one": found.one,
        "other": found.other,
        "entry": entry.sequence if entry else None,
        "sides": [_side_facts(found), _side_facts(found.inverse())],
    }


def _side_facts(found: FrameMap) -> dict[str, Any]:
    total, sure = _counts(found)
    return {
        "version": found.one,
        "frames": total,
        "sure": sure,
        "undecidable": pairs_of(found.there.alike()),
        "lacking_in": found.other,
        "lacking": [_lacking_facts(each) for each in found.there.lacking()],
    }


def _counts(found: FrameMap) -> tuple[int, int]:
    runs = found.there.runs
    return sum(run.length for run in runs), sum(run.length for run in runs if run.sure)


def _lacking_facts(each: Lacking) -> dict[str, Any]:
    return {
        "frames": pairs_of([each.frames])[0],
        "surely": pairs_of([each.certain])[0] if each.certain else None,
        "at_most": pairs_of([each.widest])[0],
        "chance": each.chance,
    }


def _show(page: Page, found: FrameMap, turned: Turned | None) -> None:
    for side in (found, found.inverse()):
        total, sure = _counts(side)
        page.line(f": {count(total, 'frame')}, {sure} of them sure. {_held(side)}", head=side.one)
        if still := side.there.alike():
            page.line(f"Nobody can tell from their neighbours, which look the same: {in_words(still)}.")
        lacking = side.there.lacking()
        if lacking and side.there.frames(matched=True):
            page.line(f"{side.other} lacks {count(len(lacking), 'range')} of it.")
            page.table(("lacking", "surely", "at most", "chance"), [_row(each) for each in lacking[:_SHOWN]])
        if len(lacking) > _SHOWN:
            page.line(f"And {len(lacking) - _SHOWN} more: --json has them all.")
    if turned is not None:
        page.line(f" shows what {found.one} shows, but {_TURNED[turned]}.", head=found.other)
    elif not found.there.frames(matched=True):
        page.line(
            "They share nothing that was found. If they are of one reel, look at both, and pin what shows the same."
        )


_TURNED: dict[Turned, str] = {
    "backwards": "from its end to its beginning: was it scanned from the tail? Send it again, numbered forwards",
    "mirrored": "with left and right changed: did its emulsion face the other way? Send it again, turned",
}


def _held(side: FrameMap) -> str:
    """Return how much of a print the other has, in a sentence."""
    lacks, has = frame_count(side.there.frames(matched=False)), frame_count(side.there.frames(matched=True))
    if not has:
        return f"{side.other} shows none of it."
    return f"{side.other} has all of it." if not lacks else f"{side.other} shows {has} of it."


def _row(each: Lacking) -> tuple[str, ...]:
    return str(each.frames), str(each.certain or "none of it"), str(each.widest), f"{each.chance} %"
