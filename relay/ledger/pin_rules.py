"""Which pins count: words in, state out. Pure."""

from relay.errors import RefusedError
from relay.ledger.pin_words import Pin, PlacePinned
from relay.ledger.saying import WORKING, Saying
from relay.ledger.state import State
from relay.model import ReelName


def fold_pin(state: State, word: PlacePinned, saying: Saying) -> None:
    """Add a pin to `state`, in the place of those on either of its frames, or lift one. Raises RefusedError."""
    saying.check_role("pin a place", *WORKING)
    for reel in (word.one, word.other):
        if reel not in state.film().reel_names():
            raise RefusedError(f"the production has no reel {reel}: `relay production show` lists them")
    if word.one == word.other:
        raise RefusedError(f"a pin ties frames of two reels, and both are of {word.one}")
    kept = tuple(each for each in state.pins if not _meets(each, word))
    if word.other_frame is None:
        if len(kept) == len(state.pins):
            raise RefusedError(f"no pin ties frame {word.frame} of {word.one} to {word.other}: there is none to lift")
        state.pins = kept
        return
    pin = Pin(
        one=word.one,
        frame=word.frame,
        other=word.other,
        other_frame=word.other_frame,
        by=saying.by,
        entry=saying.entry,
    )
    state.pins = (*kept, pin)


def _meets(pin: Pin, word: PlacePinned) -> bool:
    """Answer whether `word` takes the place of `pin`: it ties a frame of the same two reels that the pin ties."""
    if (pin.one, pin.other) == (word.one, word.other):
        return pin.frame == word.frame or pin.other_frame == word.other_frame
    if (pin.one, pin.other) == (word.other, word.one):
        return pin.other_frame == word.frame or pin.frame == word.other_frame
    return False


def pins_between(state: State, one: ReelName, other: ReelName) -> list[Pin]:
    """Return the pins that count between two reels, told from `one`, by frame."""
    found = [each for each in state.pins if (each.one, each.other) == (one, other)]
    turned = (each for each in state.pins if (each.one, each.other) == (other, one))
    found += [_turned(each) for each in turned]
    return sorted(found, key=lambda pin: pin.frame)


def _turned(pin: Pin) -> Pin:
    ends = {"one": pin.other, "frame": pin.other_frame, "other": pin.one, "other_frame": pin.frame}
    return pin.model_copy(update=ends)
