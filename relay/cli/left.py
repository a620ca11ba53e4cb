"""`relay left`: what belongs to the film and is left as it is, and whether later versions kept it."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from relay.cli.answer import AsJson, Page, answer
from relay.cli.numbers import pairs_of
from relay.cli.typed import Person, checked_note
from relay.errors import MissingError, RefusedError
from relay.ledger.deciding import judge as say
from relay.ledger.decision_state import Comparison, Judgement
from relay.ledger.decision_words import RegionJudged
from relay.ledger.left import judged, newest_comparisons, to_compare, to_judge
from relay.ledger.state import State
from relay.store.folder import in_our_words
from relay.transfer.keeping import compare_region
from relay.transfer.looked import read_object
from relay.wiring import open_desk
from relay.wording import in_words

app = typer.Typer(no_args_is_help=True)
EntryOf = Annotated[
    int, typer.Argument(metavar="ENTRY", min=1, help="The entry that leaves a region as it is: `relay left list`.")
]
VersionAfter = Annotated[str, typer.Argument(metavar="VERSION", help="A later version of that reel, such as A/R03/v3.")]


@app.command("list")
def list_left(context: typer.Context, as_json: AsJson = False) -> None:
    """List what is left as it is, and what waits for a look."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
    facts = {
        "left": _left(state),
        "owed": [{"entry": each.entry, "version": name} for each, name in to_compare(state)],
        "to_judge": [
            {"entry": each.decision, "version": each.version, "flagged": pairs_of(each.flagged)}
            for each in to_judge(state)
        ],
    }
    answer(facts, as_json=as_json, show=lambda page: _show(page, state))


def _left(state: State) -> list[dict[str, object]]:
    return [
        {
            "entry": each.entry,
            "place": str(each.word.place),
            "region": each.word.region.model_dump(mode="json"),
            "because": each.word.because,
        }
        for each in state.decisions
        if each.word.region
    ]


def _show(page: Page, state: State) -> None:
    rows = []
    for each in state.decisions:
        if region := each.word.region:
            where = f"{region.x},{region.y} {region.width}x{region.height}"
            rows.append((str(each.entry), str(each.word.place), where, each.word.because, _standing(state, each.entry)))
    page.table(("entry", "frames", "part of the picture", "why", "later versions"), rows)
    for waiting in to_judge(state):
        page.line(
            f" waits for a yes: look at `relay left crops {waiting.decision} {waiting.version} FILE`, then say "
            f"`relay left judge {waiting.decision} {waiting.version} there` or `gone`.",
            head=waiting.version,
        )


def _standing(state: State, entry: int) -> str:
    compared = [each for each in newest_comparisons(state) if each.decision == entry]
    said = {each.version: _in_words(each, judged(state, each)) for each in compared}
    said |= {name: "not compared yet" for each, name in to_compare(state) if each.entry == entry}
    return "; ".join(f"{name} {words}" for name, words in sorted(said.items()))


def _in_words(comparison: Comparison, said: Judgement | None) -> str:
    if said:
        return "still has it" if said.stands else "lost it"
    if not comparison.compared:
        return "holds none of these frames"
    if comparison.flagged:
        return f"seems to have lost it in {in_words(comparison.flagged, 4)}: a person must look"
    return "seems to have it: a person must look"


@app.command()
def compare(
    context: typer.Context,
    entry: EntryOf,
    version: VersionAfter,
    crops: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the crops before and after here, as PNG.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Compare a later version with what is left as it is.

    Frames are laid onto each other and given the same tones first, so that neither a grade nor a stabilising counts.
    The crops go into the store for a person's yes. Needs the extras media and programme. Exit code 2: something seems
    to be gone.
    """
    with open_desk(context.obj) as desk:
        found = compare_region(desk, entry, version).comparison
        if crops is not None and found.crops is not None:
            with in_our_words(str(crops), "write it"):
                crops.write_bytes(read_object(desk, found.crops))
    facts = {
        "decision": found.decision,
        "version": found.version,
        "compared": found.compared,
        "flagged": pairs_of(found.flagged),
        "crops": found.crops,
        "entry": found.entry,
    }
    said = f" {_in_words(found, None)} ({found.compared} frames compared, entry {found.entry})."
    answer(facts, as_json=as_json, show=lambda page: page.line(said, head=found.version))
    if found.flagged:
        raise RefusedError(
            f"{found.version} seems to have lost what entry {entry} leaves as it is, in {in_words(found.flagged, 6)}: "
            f"look at its crops, then say `relay left judge {entry} {found.version} there` (or `gone`, and return it)"
        )


@app.command()
def judge(
    context: typer.Context,
    entry: EntryOf,
    version: VersionAfter,
    word: Annotated[Literal["there", "gone"], typer.Argument(metavar="WORD", help="`there` or `gone`.")],
    because: Annotated[
        str, typer.Option(metavar="TEXT", callback=checked_note, help="What was seen.", show_default=False)
    ] = "",
    person: Person = None,
    as_json: AsJson = False,
) -> None:
    """Say what a person saw on the crops."""
    with open_desk(context.obj) as desk:
        named = desk.ledger.follow().version(version).name
        seen = RegionJudged(decision=entry, version=named, stands=word == "there", because=because, person=person)
        said = say(desk.ledger, desk.pen, seen)
    facts = {"decision": entry, "version": named, "stands": seen.stands, "entry": said.sequence if said else None}
    where = f"entry {said.sequence}" if said else "that was said before"
    answer(facts, as_json=as_json, show=lambda page: page.line(f" {word}; {where}.", head=named))


@app.command()
def crops(
    context: typer.Context,
    entry: EntryOf,
    version: VersionAfter,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the PNG.")],
    as_json: AsJson = False,
) -> None:
    """Write the newest comparison's crops, before and after."""
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        found = [each for each in state.comparisons if (each.decision, each.version) == (entry, version) and each.crops]
        if not found or found[-1].crops is None:
            raise MissingError(f"{version} was not compared with entry {entry}: `relay left compare {entry} {version}`")
        body = read_object(desk, found[-1].crops)
        with in_our_words(str(file), "write it"):
            file.write_bytes(body)
    answer(
        {"file": str(file), "crops": found[-1].crops},
        as_json=as_json,
        show=lambda page: page.line(f"{file}: {found[-1].compared} frames compared.", head=""),
    )
