"""Comparison copies in the ledger: asked for of versions that there are, answered once."""

import pytest
from pydantic import ValidationError

from relay.errors import BrokenError
from relay.ledger.comparison_rules import comparisons_owed
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.model import FrameRange
from tests.unit.ledger.scene import Told, pen, some_digest, version

LISBON = pen("lisbon")
ASKED = ComparisonAsked(prints=("A/R01/v1", "B/R01/v1"), frames=FrameRange(first=10, last=20), rate="200/11")


@pytest.fixture
def told() -> Told:
    told = Told.founded(joined=("lisbon",))
    told.say(LISBON, version("A/R01", 1), version("B/R01", 1))
    return told


def made(entry: int, *shown: str) -> ComparisonMade:
    return ComparisonMade(asked=entry, manifest=some_digest("movie"), size=9, steps=11, shown=shown or ("A/R01/v1",))


def test_what_is_asked_for_is_owed_until_it_was_made_or_why_not_was_said(told: Told):
    first, second = (told.say(LISBON, ASKED).sequence for _ in range(2))
    assert [each.entry for each in comparisons_owed(told.state)] == [first, second]
    told.say(LISBON, made(first))
    told.say(LISBON, ComparisonNotMade(asked=second, why="a frame cannot be decoded"))
    assert comparisons_owed(told.state) == []
    for word in (made(first), ComparisonNotMade(asked=second, why="again")):
        with pytest.raises(BrokenError, match="was answered before"):
            told.say(LISBON, word)


def test_what_was_never_asked_for_or_never_sent_is_refused(told: Told):
    entry = told.say(LISBON, ASKED).sequence
    for word, why in (
        (made(1), "asks for no comparison"),
        (made(entry, "A/R01/v9"), "shows A/R01/v9: never sent"),
        (ASKED.model_copy(update={"prints": ("A/R01/v1", "B/R01/v2")}), "there is no version B/R01/v2"),
        (ComparisonAsked(cut_list=some_digest("list"), elements=("A", "X"), rate="24"), "has no element X"),
    ):
        with pytest.raises(BrokenError, match=why):
            told.say(LISBON, word)


@pytest.mark.parametrize(
    "wrong",
    [
        {"prints": ("A/R01/v1",), "rate": "18"},
        {"prints": ("A/R01/v1", "A/R01/v2"), "rate": "18"},
        {"prints": ("A/R01/v1", "B/R01/v1"), "elements": ("A", "B"), "rate": "18"},
        {"cut_list": some_digest("list"), "elements": ("A",), "rate": "18"},
        {"cut_list": some_digest("list"), "elements": ("A", "B"), "frames": {"first": 1, "last": 2}, "rate": "18"},
        {"prints": ("A/R01/v1", "B/R01/v1"), "rate": "0"},
    ],
)
def test_a_comparison_is_of_two_to_four_along_one_thing(wrong: dict):
    with pytest.raises(ValidationError):
        ComparisonAsked.model_validate(wrong)
