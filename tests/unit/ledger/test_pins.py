"""Which pins the ledger takes and refuses, and which count."""

import pytest

from relay.errors import BrokenError
from relay.ledger.pin_rules import pins_between
from relay.ledger.pin_words import PlacePinned
from relay.ledger.telling import telling
from relay.ledger.words import Word
from tests.unit.ledger.scene import Told, pen, version

LISBON = pen("lisbon")


@pytest.fixture
def told() -> Told:
    told = Told.founded()
    told.say(LISBON, version("A/R01", 1), version("B/R01", 1))
    return told


def pinned(frame: int, other_frame: int | None, one: str = "A/R01", other: str = "B/R01") -> PlacePinned:
    return PlacePinned(one=one, frame=frame, other=other, other_frame=other_frame)


def refusal(told: Told, word: Word) -> str:
    with pytest.raises(BrokenError) as refused:
        told.say(LISBON, word)
    return str(refused.value)


def test_a_later_pin_on_either_frame_takes_the_place_of_an_earlier_one(told: Told):
    told.say(LISBON, pinned(12, 10))
    told.say(LISBON, pinned(40, 30))
    told.say(LISBON, pinned(13, 10))
    told.say(LISBON, pinned(31, 40, one="B/R01", other="A/R01"))  # told from the other side
    assert [(pin.frame, pin.other_frame) for pin in pins_between(told.state, "A/R01", "B/R01")] == [(13, 10), (40, 31)]
    assert [(pin.frame, pin.other_frame) for pin in pins_between(told.state, "B/R01", "A/R01")] == [(10, 13), (31, 40)]


def test_a_pin_is_lifted_and_a_pin_that_is_not_there_is_not(told: Told):
    told.say(LISBON, pinned(12, 10))
    told.say(LISBON, pinned(12, None))
    assert told.state.pins == ()
    assert "there is none to lift" in refusal(told, pinned(12, None))


@pytest.mark.parametrize(("one", "other", "why"), [("A/R01", "A/R01", "two reels"), ("A/R01", "C/R01", "no reel")])
def test_a_pin_ties_two_reels_of_the_production(told: Told, one: str, other: str, why: str):
    assert why in refusal(told, pinned(1, 2, one, other))


def test_they_are_told_in_a_sentence():
    assert telling(pinned(12, 10)) == "pinned A/R01:12 to B/R01:10"
    assert telling(pinned(12, None)) == "lifted the pin on A/R01:12 to B/R01"
