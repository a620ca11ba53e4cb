"""Deciding on the board while looking at a reel: one field, and it stands in the ledger once."""

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


def test_a_stranger_decides_nothing(house, serve: Serve):
    asker = serve(SCANNER, enters=False)
    answer = asker.post("/decide", data={"reel": "A/R01", "verdict": "used", "because": "so"})
    assert answer.status_code in {401, 403}
    assert house.ledger(RULER).follow().decisions == ()
