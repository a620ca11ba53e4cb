"""Comparison copies asked for from the page of coverage, and given to whoever may see all prints."""

from typing import Annotated, Literal, assert_never

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse
from pydantic import StringConstraints

from relay.board.door import Asking, board_of, said_by_form
from relay.board.rows.view import View, Viewer
from relay.errors import RefusedError
from relay.film.rates import parse_rate
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.state import AskedComparison
from relay.ledger.telling import asked_in_words
from relay.model import FrameRange, Frozen, VersionField, VersionName
from relay.transfer.aligned import print_of
from relay.transfer.beside import newest_beside
from relay.transfer.comparison import ANEW, ask, asked_in, made_file
from relay.transfer.seat import Seat
from relay.transfer.showing import objects_of
from relay.wording import bytes_in_words, count, parse_frames

router = APIRouter(include_in_schema=False)


class Asked(Frozen):
    """What the form on the page of coverage asks for."""

    version: VersionField
    """Along which print."""
    frames: Annotated[str, StringConstraints(max_length=40)] = ""
    """A range such as 3412-3440; empty for the whole reel."""
    speed: Annotated[str, StringConstraints(max_length=20)] = "18"
    what: Literal["movie", "still"] = "movie"


def asked_for(seat: Seat, viewer: Viewer, asked: Asked) -> str:
    """Ask for it, once, and return what became of it in words. Raises RelayError."""
    if viewer.role == "guest":
        raise RefusedError("comparisons show prints of all archives: guests see their own elements, under Reels")
    try:
        rate = str(parse_rate(asked.speed))
    except ValueError as error:
        raise RefusedError(f"{asked.speed} frames a second: {error}") from error
    with seat.alone() as ledger:
        state = ledger.follow()
        one = print_of(seat, state, state.version(asked.version))
        word = ComparisonAsked(
            prints=(one.version, *newest_beside(one)),
            frames=_range(asked.frames),
            rate=rate,
            still=True if asked.what == "still" else None,
        )
        entry = ask(seat, ledger, seat.pen, word)
    seat.ring()
    return f"Asked for {asked_in_words(word)}; " + (f"entry {entry.sequence}." if entry else "that was asked before.")


def _range(text: str) -> FrameRange | None:
    found = parse_frames(text) if text.strip() else ()
    if len(found) > 1:
        raise RefusedError(f"{text!r} is no one range of frames: write it like 3412-3440")
    return next(iter(found), None)


@router.post("/comparisons")
async def compare(request: Request, viewer: Asking) -> Response:
    """Ask for a comparison copy from the form; then show that page again."""
    actors = board_of(request).actors
    return await said_by_form(
        request, lambda form: asked_for(actors.seat_of(viewer), viewer, Asked.model_validate(form))
    )


@router.get("/comparisons/{entry}")
def comparison(request: Request, viewer: Asking, entry: int) -> Response:
    """Give the copy that `entry` asked for, each object verified. Raises MissingError, BrokenError, TransientError."""
    board = board_of(request)
    _, view = board.seen(viewer)
    asked = asked_in(view.state, entry)
    file = made_file(board.seat, asked)
    kind = "image/png" if asked.word.still else "video/quicktime"
    headers = {"content-length": str(file.size), "content-disposition": f'inline; filename="{file.path}"'}
    return StreamingResponse(objects_of(board.seat, file, ANEW), media_type=kind, headers=headers)


def comparison_rows(view: View, version: VersionName) -> list[dict[str, object]]:
    """Return the copies that were asked for along `version`, the newest first."""
    return [
        {
            "entry": each.entry,
            "what": asked_in_words(each.word),
            "by": each.by,
            "time": each.time,
            **_standing(each),
        }
        for each in reversed(view.state.asked_comparisons)
        if each.word.prints[:1] == (version,)
    ]


def _standing(asked: AskedComparison) -> dict[str, object]:
    match asked.answer:
        case None:
            return {"made": "", "why": "waits for the worker"}
        case ComparisonMade(steps=steps, size=size):
            return {"made": f"{count(steps, 'step')}, {bytes_in_words(size)}", "why": ""}
        case ComparisonNotMade(why=why):
            return {"made": "", "why": f"not made: {why}"}
        case _:
            assert_never(asked.answer)
