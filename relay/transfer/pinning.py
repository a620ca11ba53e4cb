"""Pins as people write them: two frames that show the same, or a frame whose pin shall count no more."""

from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.pin_rules import pins_between
from relay.ledger.pin_words import PlacePinned
from relay.ledger.state import State
from relay.model import Place, ReelName
from relay.wording import parse_place


def pin_of(one: str, other: str, *, lift: bool = False, note: str = "", person: str | None = None) -> PlacePinned:
    """Return what `A/R03:3412` and `B/R03:3398` say; to lift, what `A/R03:3412` and `B/R03` do. Raises RefusedError."""
    here, there = parse_place(one), parse_place(other)
    frame = _frame_of(here)
    if lift == bool(there.frames):
        raise RefusedError(
            f"{other}: to pin, name a frame of the other print, such as B/R03:3398; to lift a pin, --lift and its reel"
        )
    return PlacePinned(
        one=_reel_of(here),
        frame=frame,
        other=_reel_of(there),
        other_frame=None if lift else _frame_of(there),
        person=person,
        note=note,
    )


def say_pin(ledger: Ledger, pen: Pen, word: PlacePinned) -> Entry | None:
    """Say it, unless that pin counts already: then None. Raises RefusedError, TransientError."""
    return ledger.append(pen, lambda state, _now: None if _counts(state, word) else [word])


def pin_in_words(other: str, *, lift: bool) -> str:
    """Return what becomes of the one frame, `other` as it was written."""
    return "is not pinned any more" if lift else f"shows what {other} shows: the next alignment keeps to it"


def _counts(state: State, word: PlacePinned) -> bool:
    pins = pins_between(state, word.one, word.other)
    return any((pin.frame, pin.other_frame) == (word.frame, word.other_frame) for pin in pins)


def _reel_of(place: Place) -> ReelName:
    if place.reel is None:
        raise RefusedError(f"{place} is no reel: name one, such as A/R03")
    return place.reel


def _frame_of(place: Place) -> int:
    if len(place.frames) != 1 or place.frames[0].first != place.frames[0].last:
        raise RefusedError(f"{place} is not one frame of a reel: write it like A/R03:3412")
    return place.frames[0].first
