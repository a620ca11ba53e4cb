"""Decisions as people say them: one line, and it stays."""

import pytest

from tests.acceptance.house import PRODUCTION, House


@pytest.fixture
def sent(house: House) -> House:
    house.send("halifax", house.scan("scan"))
    return house


def test_a_decision_is_one_line_and_saying_it_again_says_nothing_new(sent: House):
    line = ("decide", "A/R01:4-6", "preferred", "--because", "=tone", "--evidence", "A/R01/v1:4-6", "--person", "Ines")
    first = sent.told("lisbon", *line)
    assert first["verdict"] == "preferred"
    assert sent.told("lisbon", *line)["entry"] is None
    said = sent("tokyo", "ledger", "show", "--last", "1").out
    assert "Ines of the site decided A/R01:4-6 is preferred: it has the better tone" in said
    assert "seen: A/R01/v1:4-6" in said


def test_a_shot_an_element_and_the_programme_are_decided_about_and_a_still_is_evidence(sent: House):
    still = sent.place / "light_table.jpg"
    still.write_bytes(b"two prints on the light table")
    sent("halifax", "material", "keep", still, "A")
    for place, word in (("programme:2400-2700", "replaced"), ("A", "not-used"), ("programme", "left as it is")):
        entry = sent.told(
            "lisbon", "decide", place, word, "--because", "seen side by side", "--evidence", "light_table.jpg"
        )["entry"]
        assert entry == sent.entries - 1


VERDICTS = ("used", "not used", "replaced", "repaired", "preferred", "left as it is")
# A place, a shot, a reel, an element, the film.
SCOPES = ("A/R01:4-6", "programme:2400-2700", "A/R01", "A", "programme")


def test_everything_that_can_be_decided_is_decided_about_every_kind_of_place_and_told_there(sent: House):
    said = {(scope, verdict): f"{verdict} for {scope}" for scope in SCOPES for verdict in VERDICTS}
    for (scope, verdict), why in said.items():
        told = sent.told("lisbon", "decide", scope, verdict, "--because", why, "--evidence", "A/R01/v1")
        assert (told["place"], told["verdict"], told["entry"]) == (scope, verdict, sent.entries - 1)
    for scope in SCOPES:
        story = [each["sentence"] for each in sent.told("tokyo", "why", scope)["story"]]
        for verdict in VERDICTS:
            line = f"decided {scope} is {verdict}: {said[scope, verdict]}; seen: A/R01/v1"
            assert story.count(line) == 1, (scope, verdict)


def test_a_production_s_own_reasons_are_given_like_the_usual_ones(sent: House):
    own = '[reasons]\ntitles = "its intertitles are the release\'s own"\ntone = "it is the one that was graded"\n'
    (sent.place / "own.toml").write_text(f"{PRODUCTION}\n{own}", encoding="utf-8")
    sent("lisbon", "production", "revise", "own.toml", "--reason", "reasons that we give every day")
    for name, text in (("titles", "the release's own"), ("tone", "was graded"), ("splice", "is spliced here")):
        sent("lisbon", "decide", "A/R01:4", "used", "--because", f"={name}")
        assert text in sent("tokyo", "ledger", "show", "--last", "1").out
    assert "=titles" in sent.refused("lisbon", "decide", "A/R01:4", "used", "--because", "=nice", ends=2)


REFUSED = [
    ("A/R01:9-4 used --because x", "run backwards"),
    ("Q used --because x", "no element and no reel"),
    ("A:1-2 used --because x", "is no place"),
    ("A liked --because x", "expected one of used, not used"),
    ("A used --because =nice", "=tone"),
    ("A used --because x --evidence A/R01/v7", "there is no A/R01/v7"),
    ("A/R01:1-2 left-as-it-is --because x --region 1,2,3", "X,Y,WIDTH,HEIGHT"),
]


def test_what_cannot_be_decided_is_refused_in_a_sentence(sent: House):
    before = sent.entries
    for line, why in REFUSED:
        assert why in sent.refused("lisbon", "decide", *line.split(), ends=3 if "v7" in line else 2)
    assert sent.entries == before
