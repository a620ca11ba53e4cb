"""What the ledger takes and refuses about decisions, what is left as it is, and the end of a production."""

import pytest
from pydantic import ValidationError

from relay.errors import BrokenError
from relay.ledger.decision_words import (
    DecisionMade,
    Evidence,
    ProductionClosed,
    Region,
    RegionCompared,
    RegionJudged,
    VersionsRetired,
)
from relay.ledger.words import Word
from relay.model import FrameRange, Place
from tests.unit.ledger.scene import COORDINATOR, Told, pen, some_digest, version

LISBON = pen("lisbon")
SHOT = Place(about="A/R01", frames=(FrameRange(first=120, last=180),))


@pytest.fixture
def told() -> Told:
    told = Told.founded()
    told.say(LISBON, version("A/R01", 1), version("B/R01", 1))
    told.say(LISBON, version("A/R01", 2, parents=("A/R01/v1",)))
    return told


def decided(place: Place = SHOT, **more: object) -> DecisionMade:
    return DecisionMade.model_validate(
        {"place": place.model_dump(), "verdict": "preferred", "because": "the better tone", **more}
    )


def left(name: str = "A/R01/v1") -> DecisionMade:
    region = Region(version=name, x=4, y=4, width=12, height=12)
    return DecisionMade(place=SHOT, verdict="left as it is", because="a hair in the camera gate", region=region)


def refusal(told: Told, word: Word, by: str = "lisbon") -> str:
    with pytest.raises(BrokenError) as refused:
        told.say(pen(by), word)
    return str(refused.value)


def test_a_decision_says_who_where_why_and_on_what_evidence(told: Told):
    seen = Evidence(version="A/R01/v1", frames=(FrameRange(first=120, last=140),), against="B/R01/v1")
    entry = told.say(LISBON, decided(evidence=[seen], person="the editor", instead=Place(about="B/R01")))
    (decision,) = told.state.decisions
    assert (decision.by, decision.entry, decision.word.person) == ("lisbon", entry.sequence, "the editor")
    assert decision.word.evidence == (seen,)


@pytest.mark.parametrize("about", ["C", "A/R09", "R01"])
def test_what_the_production_does_not_have_is_not_decided_about(told: Told, about: str):
    assert f"{about} is no element and no reel" in refusal(told, decided(Place(about=about)))
    assert f"{about} is no element and no reel" in refusal(told, decided(instead=Place(about=about)))


@pytest.mark.parametrize("seen", [{"version": "A/R01/v9"}, {"version": "A/R01/v1", "against": "A/R01/v9"}])
def test_evidence_must_be_there(told: Told, seen: dict[str, str]):
    assert "there is no version A/R01/v9" in refusal(told, decided(evidence=[seen]))


def test_a_still_that_nobody_kept_is_no_evidence(told: Told):
    assert "was kept" in refusal(told, decided(evidence=[{"still": some_digest("nobody's")}]))


@pytest.mark.parametrize(
    "wrong",
    [
        {"verdict": "preferred"},
        {"place": {"about": "A/R01"}},
        {"place": {"about": "programme", "frames": [{"first": 1, "last": 2}]}},
        {"place": {"about": "B/R01", "frames": [{"first": 1, "last": 2}]}},
    ],
)
def test_a_region_belongs_to_frames_of_its_own_reel_that_are_left_as_they_are(wrong: dict[str, object]):
    with pytest.raises(ValidationError, match=r"region belongs|is no version of"):
        DecisionMade.model_validate({**left().model_dump(), **wrong})


def test_one_entry_leaves_one_region_as_it_is(told: Told):
    with pytest.raises(BrokenError, match="one region"):
        told.say(LISBON, left(), left("A/R01/v2"))


def test_a_person_judges_what_was_compared_and_nothing_else(told: Told):
    entry = told.say(LISBON, left()).sequence
    judged = RegionJudged(decision=entry, version="A/R01/v2", stands=True)
    assert "was not compared" in refusal(told, judged)
    compared = {"decision": entry, "version": "A/R01/v2", "compared": 61, "crops": some_digest("crops")}
    assert "leaves no region" in refusal(told, RegionCompared.model_validate({**compared, "decision": entry - 1}))
    assert "is not of it" in refusal(told, RegionCompared.model_validate({**compared, "version": "B/R01/v1"}))
    assert "shows crops" in refusal(told, RegionCompared.model_validate({**compared, "crops": None}))
    told.say(LISBON, RegionCompared.model_validate(compared))
    told.say(LISBON, judged)
    assert [each.stands for each in told.state.judgements] == [True]


def test_versions_are_retired_after_the_newest_closing_and_the_ledger_keeps_saying_that_they_were_there(told: Told):
    retired = VersionsRetired(closing=5, versions=("A/R01/v1",), reason="exported and checked")
    assert "only after the newest closing" in refusal(told, retired, COORDINATOR)
    closing = told.say(
        pen(COORDINATOR), ProductionClosed(export=some_digest("bag"), finals=("A/R01/v2",), files=160, size=2000)
    ).sequence
    told.say(LISBON, version("A/R02", 1))
    for name, why in (("A/R01/v2", "one of the final"), ("A/R02/v1", "came after the closing"), ("A/R03/v1", "no")):
        word = VersionsRetired(closing=closing, versions=(name,), reason="room")
        assert why in refusal(told, word, COORDINATOR)
    told.say(pen(COORDINATOR), VersionsRetired(closing=closing, versions=("A/R01/v1",), reason="room"))
    assert told.state.versions["A/R01/v1"].retired == closing + 2
    again = ProductionClosed(export=some_digest("bag"), finals=("A/R01/v1",), files=160, size=2000)
    assert "was retired" in refusal(told, again, COORDINATOR)
