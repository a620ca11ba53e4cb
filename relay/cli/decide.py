"""`relay decide`: why this and not that, in one line."""

from collections.abc import Sequence
from typing import Annotated, get_args

import typer

from relay.cli.answer import AsJson, answer
from relay.cli.typed import Person, checked_line
from relay.errors import RefusedError
from relay.ledger.deciding import decide as say
from relay.ledger.decision_words import DecisionMade, Evidence, Region, Verdict
from relay.ledger.state import State
from relay.model import Place
from relay.programme.evidence import evidence_of
from relay.programme.reasons import REASONS, reason_in_full, reasons_of
from relay.wiring import open_desk
from relay.wording import parse_place

PlaceText = Annotated[
    str,
    typer.Argument(
        metavar="PLACE",
        help="An element (A), a reel (A/R03), frames of it (A/R03:120-180), `programme`, or a shot of it "
        "(programme:2400-2700), counted from frame 0.",
    ),
]
_VERDICTS: tuple[Verdict, ...] = get_args(Verdict)


def decide(
    context: typer.Context,
    place: PlaceText,
    word: Annotated[str, typer.Argument(metavar="WORD", help="One of: " + ", ".join(_VERDICTS) + ".")],
    because: Annotated[
        str,
        typer.Option(
            metavar="TEXT",
            callback=checked_line,
            help="Why, in a line; or a reason that people repeat: ="
            + ", =".join(REASONS)
            + ", or one of the production's own.",
        ),
    ],
    evidence: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            help="What was looked at: A/R03/v2, A/R03/v2:120-140, one against another with A/R03/v2=B/R03/v1, or the "
            "name of a still that was kept. As often as wanted.",
        ),
    ] = None,
    instead: Annotated[str | None, typer.Option(metavar="PLACE", help="What was taken in its place.")] = None,
    region: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,W,H",
            help="Left as it is: the part of the picture, in pixels from the top left, that later versions must keep.",
        ),
    ] = None,
    person: Person = None,
    as_json: AsJson = False,
) -> None:
    """Say why a place is as it is.

    On a place, a shot, a reel, an element or the whole programme. It stays in the ledger; a later word on the same
    place goes before it, and both are told.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        seen = tuple(evidence_of(state, each) for each in evidence or ())
        at = parse_place(place)
        decided = DecisionMade(
            place=at,
            verdict=parse_verdict(word),
            because=_reason(state, because),
            person=person,
            evidence=seen,
            instead=parse_place(instead) if instead else None,
            region=_region(state, at, seen, region) if region else None,
        )
        entry = say(desk.ledger, desk.pen, decided)
    facts = {"place": str(at), "verdict": decided.verdict, "entry": entry.sequence if entry else None}
    said = f" is {decided.verdict}: {decided.because}; " + (
        f"entry {entry.sequence}." if entry else "that was said before."
    )
    answer(facts, as_json=as_json, show=lambda page: page.line(said, head=str(at)))


def parse_verdict(text: str) -> Verdict:
    """Return the word that `text` is, with hyphens or spaces. Raises RefusedError."""
    plain = text.strip().casefold().replace("-", " ").replace("_", " ")
    for verdict in _VERDICTS:
        if plain == verdict:
            return verdict
    raise RefusedError(f"{text!r} is no decision: expected one of " + ", ".join(_VERDICTS))


def _reason(state: State, text: str) -> str:
    try:
        return reason_in_full(text, reasons_of(state.film()))
    except ValueError as error:
        raise RefusedError(str(error)) from error


def _region(state: State, place: Place, seen: Sequence[Evidence], text: str) -> Region:
    """Return the region in the first version of evidence that is of this reel, or in the reel's newest version."""
    parts = text.split(",")
    if len(parts) != 4 or not all(part.strip().isdecimal() and len(part) < 7 for part in parts):
        raise RefusedError(
            f"{text!r} is no part of a picture: expected X,Y,WIDTH,HEIGHT in pixels, such as 812,40,36,210"
        )
    if place.reel is None:
        raise RefusedError(
            f"a part of the picture belongs to frames of a reel, and {place} is none: A/R03:120-180, say"
        )
    x, y, width, height = (int(part) for part in parts)
    named = next((each.version for each in seen if each.version and each.version.startswith(f"{place.reel}/v")), None)
    version = named or state.version(place.reel).name
    return Region(version=version, x=x, y=y, width=width, height=height)
