"""Frames of two prints that somebody saw to show the same, said from the page of coverage: the next alignment obeys."""

from typing import Annotated, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import StringConstraints

from relay.board.door import Asking, board_of, said_by_form
from relay.board.rows.view import View, Viewer
from relay.model import Frozen, Note, ReelName
from relay.transfer.pinning import pin_in_words, pin_of, say_pin
from relay.transfer.seat import Seat

router = APIRouter(include_in_schema=False)

_PlaceText = Annotated[str, StringConstraints(max_length=120)]


class Asked(Frozen):
    """What the form on the page of coverage asks for."""

    one: _PlaceText
    """A frame of one print, such as A/R03:3412."""
    other: _PlaceText
    """The other's frame; to lift a pin, its reel."""
    lift: Literal["", "yes"] = ""
    note: Note = ""


def pinned(seat: Seat, viewer: Viewer, asked: Asked) -> str:
    """Say it, once, and return what became of it in words. Raises RelayError."""
    person = None if viewer.name == viewer.site else viewer.name
    word = pin_of(asked.one, asked.other, lift=bool(asked.lift), note=asked.note, person=person)
    with seat.alone() as ledger:
        entry = say_pin(ledger, seat.pen, word)
    seat.ring()
    what = pin_in_words(asked.other, lift=bool(asked.lift))
    return f"{asked.one} {what}; " + (f"entry {entry.sequence}." if entry else "that was said before.")


@router.post("/pins")
async def pin(request: Request, viewer: Asking) -> Response:
    """Pin two frames to each other, or lift a pin, from the form; then show that page again."""
    actors = board_of(request).actors
    return await said_by_form(request, lambda form: pinned(actors.seat_of(viewer), viewer, Asked.model_validate(form)))


def pin_rows(view: View, reel: ReelName) -> list[dict[str, object]]:
    """Return the pins that tie a frame of `reel`, in order, and whether the newest alignment kept to each."""
    obeyed = {entry for each in view.state.alignments for entry in each.pins}
    return [
        {
            "one": f"{pin.one}:{pin.frame}",
            "other": f"{pin.other}:{pin.other_frame}",
            "reel": pin.other,
            "by": pin.by,
            "entry": pin.entry,
            "is_kept_to": pin.entry in obeyed,
        }
        for pin in sorted(view.state.pins, key=lambda pin: (pin.one, pin.frame))
        if reel in {pin.one, pin.other}
    ]
