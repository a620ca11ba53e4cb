"""Deciding on the board while looking at a reel: one field, and it stands in the ledger once."""

from relay.ledger.telling import evidence_in_words
from relay.ledger.words import MaterialKept
from relay.model import digest_of
from tests.unit.board.board_house import RULER, SCANNER
from tests.unit.board.conftest import Serve


def test_a_decision_is_said_from_a_reel_s_page_once_and_told_there(house, serve: Serve):
    asker = serve(SCANNER)
    page = asker.get("/reels/A/R01").text
    assert "Decide about it" in page
    form = {
        "token": asker.token(),
        "back": "/reels/A/R01",
        "reel": "A/R01",
        "frames": "10-20,35",
        "verdict": "not used",
        "because": "=scratches",
    }
    before = house.ledger(RULER).follow().sequence
    assert asker.post("/decide", data=form).status_code == 200
    assert "that was said before" in asker.post("/decide", data=form).text
    state = house.ledger(RULER).follow()
    assert state.sequence == before + 1
    (decision,) = state.decisions
    assert (decision.by, str(decision.word.place)) == (SCANNER, "A/R01:10-20,35")
    assert decision.word.because == "the other is scratched through the emulsion here"
    asker.sees("decided A/R01:10-20,35 is not used", "/reels/A/R01")
    assert "Not said: frames 9 to 4 run backwards" in asker.post("/decide", data={**form, "frames": "9-4"}).text
    assert asker.post("/decide", data={**form, "verdict": "liked"}).status_code == 422
    assert asker.post("/decide", data={**form, "token": "00" * 64}).status_code == 403
    assert asker.post("/decide", data={**form, "back": "//elsewhere.example/"}).url.path == "/"
    assert house.ledger(RULER).follow().sequence == before + 1


def test_the_form_names_evidence_and_decides_about_the_element_and_the_programme(house, serve: Serve):
    house.says(SCANNER, house.sends(SCANNER, "A/R01", range(24)))
    kept = MaterialKept(about="A/R01", name="leader.png", object=digest_of(b"a leader"), size=8)
    house.says(SCANNER, kept)
    asker = serve(SCANNER)
    page = asker.sees("Seen on", "/reels/A/R01")
    assert f'<input type="checkbox" name="still" value="{kept.object}"> leader.png' in page
    form = {"token": asker.token(), "back": "/reels/A/R01", "reel": "A/R01", "verdict": "preferred", "because": "so"}
    seen = {"seen": "A/R01/v1", "seen_frames": "3-4", "against": "A/R01/v1", "still": kept.object}
    assert asker.post("/decide", data={**form, "about": "programme", "frames": "40-50", **seen}).status_code == 200
    assert asker.post("/decide", data={**form, "about": "element", "seen": "A/R01/v1"}).status_code == 200
    assert asker.post("/decide", data={**form, "frames": "7", "seen": "A/R01/v1"}).status_code == 200
    assert "choose the version that was seen" in asker.post("/decide", data={**form, "against": "A/R01/v1"}).text
    said = [
        (str(each.word.place), [evidence_in_words(one) for one in each.word.evidence])
        for each in house.ledger(RULER).follow().decisions
    ]
    assert said == [
        ("programme:40-50", ["A/R01/v1:3-4 against A/R01/v1", f"still {kept.object[:12]}..."]),
        ("A", ["A/R01/v1"]),
        ("A/R01:7", ["A/R01/v1:7"]),
    ]


def test_the_form_takes_several_versions_frames_stills_and_comparisons(house, serve: Serve):
    house.says(SCANNER, house.sends(SCANNER, "A/R01", range(24)))
    house.says(SCANNER, house.sends(SCANNER, "B/R01", range(24)))
    stills = [digest_of(name.encode()) for name in ("one.png", "two.png")]
    for name, object_ in zip(("one.png", "two.png"), stills, strict=True):
        house.says(SCANNER, MaterialKept(about="A/R01", name=name, object=object_, size=8))
    asker = serve(SCANNER)
    asker.sees("Seen on", "/reels/A/R01")
    form = {"token": asker.token(), "back": "/reels/A/R01", "reel": "A/R01", "verdict": "used", "because": "so"}
    seen = {"seen": "A/R01/v1", "still": stills, "more": "A/R01/v1:3-4=B/R01/v1; B/R01/v1:7;"}
    assert asker.post("/decide", data={**form, **seen}).status_code == 200
    (said,) = house.ledger(RULER).follow().decisions
    assert [evidence_in_words(one) for one in said.word.evidence] == [
        "A/R01/v1",
        *(f"still {each[:12]}..." for each in stills),
        "A/R01/v1:3-4 against B/R01/v1",
        "B/R01/v1:7",
    ]
    assert "there is no B/R01/v9" in asker.post("/decide", data={**form, "more": "B/R01/v9"}).text
    many = "; ".join(f"A/R01/v1:{frame}" for frame in range(21))
    assert "expected at most 20" in asker.post("/decide", data={**form, "more": many}).text
    assert len(house.ledger(RULER).follow().decisions) == 1


def test_a_stranger_decides_nothing(house, serve: Serve):
    asker = serve(SCANNER, enters=False)
    answer = asker.post("/decide", data={"reel": "A/R01", "verdict": "used", "because": "so"})
    assert answer.status_code in {401, 403}
    assert house.ledger(RULER).follow().decisions == ()
