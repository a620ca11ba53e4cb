"""`relay comparison`: copies of prints in step that a worker makes, asked for, listed and fetched."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.beside import OthersText, PlaceText, SpeedText, Wanted, rate_of, wanted_of
from relay.cli.cut import ground_of, read_cut_list
from relay.cli.shots import ShotNumber
from relay.cli.typed import checked_note
from relay.film.rates import format_rate
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.state import AskedComparison, State
from relay.ledger.telling import asked_in_words
from relay.model import digest_of
from relay.transfer.comparison import ask as ask_for
from relay.transfer.comparison import asked_in, bring, is_same_copy
from relay.transfer.desk import Desk
from relay.transfer.sender import Sender
from relay.wiring import open_desk

app = typer.Typer(no_args_is_help=True)


@app.command()
def ask(
    context: typer.Context,
    place: PlaceText,
    others: OthersText = None,
    shot: ShotNumber = None,
    speed: SpeedText = "18",
    still: Annotated[bool, typer.Option("--still", help="Only its first step, as a picture.")] = False,
    note: Annotated[
        str, typer.Option(metavar="TEXT", callback=checked_note, help="What it is for.", show_default=False)
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Ask for prints in step; the coordinator's worker makes it.

    For a shot, a reel, or all that a cut list shows. It lies in the store when it is made: `relay comparison get`.
    """
    rate = rate_of(speed)
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        wanted = wanted_of(desk, state, place, others or [], shot)
        word = _word(desk, state, place, wanted, rate).model_copy(update={"still": still or None, "note": note})
        desk.check_may_sign(state)
        ask_for(desk, desk.ledger, desk.pen, word)
        asked = next(each for each in reversed(desk.ledger.state.asked_comparisons) if is_same_copy(each.word, word))
    answer(_facts(asked), as_json=as_json, show=lambda page: _show_one(page, asked))


def _word(desk: Desk, state: State, place: str, wanted: Wanted, rate: Fraction) -> ComparisonAsked:
    if wanted.cut_list is None:
        return ComparisonAsked(prints=wanted.prints, frames=wanted.frames, rate=str(rate))
    body = bytearray(read_cut_list(Path(place), ground_of(state.film(), "24", held=False)).body)
    Sender(desk.store, desk.notebook, frozenset()).put(digest_of(body), memoryview(body), place)
    return ComparisonAsked(cut_list=digest_of(body), elements=wanted.codes(desk, state), rate=str(rate))


@app.command("list")
def list_asked(context: typer.Context, as_json: AsJson = False) -> None:
    """List what was asked for, and whether it was made."""
    with open_desk(context.obj) as desk:
        asked = desk.ledger.follow().asked_comparisons
    answer({"comparisons": [_facts(each) for each in asked]}, as_json=as_json, show=lambda page: _show(page, asked))


@app.command()
def get(
    context: typer.Context,
    entry: Annotated[int, typer.Argument(metavar="ENTRY", min=1, help="The entry that asked for it.")],
    target: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it: a.mov; a still, a.png.")],
    as_json: AsJson = False,
) -> None:
    """Write a copy that was made to a file, verified."""
    with open_desk(context.obj) as desk:
        asked = asked_in(desk.ledger.follow(), entry)
        size = bring(desk, asked, target)
    answer(
        {**_facts(asked), "file": str(target)},
        as_json=as_json,
        show=lambda page: page.line(
            f": {asked_in_words(asked.word)}; {bytes_in_words(size)}, verified.", head=str(target)
        ),
    )


def _facts(asked: AskedComparison) -> dict[str, object]:
    said = asked.answer
    made = said if isinstance(said, ComparisonMade) else None
    return {
        "entry": asked.entry,
        "by": asked.by,
        **asked.word.model_dump(mode="json", exclude={"word"}),
        "made": None if made is None else made.model_dump(mode="json", include={"steps", "size", "shown", "manifest"}),
        "not_made": said.why if isinstance(said, ComparisonNotMade) else None,
    }


def _standing(asked: AskedComparison) -> str:
    said = asked.answer
    if said is None:
        return "waits for the coordinator's worker"
    if isinstance(said, ComparisonMade):
        return f"made: {count(said.steps, 'step')}, {bytes_in_words(said.size)}"
    return f"not made: {said.why}"


def _show_one(page: Page, asked: AskedComparison) -> None:
    page.line(f" asks for {asked_in_words(asked.word)}: {_standing(asked)}.", head=f"Entry {asked.entry}")
    page.line(f"`relay comparison get {asked.entry} FILE` writes it when it is made.")


def _show(page: Page, asked: tuple[AskedComparison, ...]) -> None:
    rows = [
        (str(each.entry), each.by, asked_in_words(each.word), format_rate(Fraction(each.word.rate)), _standing(each))
        for each in asked
    ]
    page.table(("entry", "asked by", "what", "a second", "how it stands"), rows)
