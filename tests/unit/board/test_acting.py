"""What is said from the page: once, by whom it may be said, in order; the ledger decides."""

import threading

from relay.ledger.job_state import Standing
from tests.unit.board.board_house import GRADER, RULER, SCANNER, TOKYO
from tests.unit.board.conftest import Serve

JOB = "scan/A/R01/1"
OP = "0123456789abcdef" * 2


def entries(house):
    return house.ledger(RULER).follow().sequence


def job(house, name=JOB):
    return house.ledger(RULER).follow().jobs[name]


def test_a_claim_from_the_page_is_an_entry_in_the_ledger(house, serve: Serve):
    asker = serve(SCANNER)
    answer = asker.act("claim", JOB)
    assert answer.status_code == 200, answer.text
    assert job(house).claim.site == SCANNER
    assert answer.json()["entry"] == job(house).claim.epoch


def test_a_double_click_says_it_once(house, serve: Serve):
    asker, before = serve(SCANNER), entries(house)
    seen, token = asker.job(JOB)["seen"], asker.token()
    answers = []
    clicks = [
        threading.Thread(target=lambda: answers.append(asker.act("claim", JOB, token, op=OP, seen=seen)))
        for _ in range(4)
    ]
    for click in clicks:
        click.start()
    for click in clicks:
        click.join()
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.text for answer in answers}) == 1
    assert entries(house) == before + 1


def test_a_release_whose_answer_was_lost_is_not_said_twice(house, serve: Serve):
    asker = serve(SCANNER)
    asker.act("claim", JOB)
    seen, token = asker.job(JOB)["seen"], asker.token()
    first = asker.act("release", JOB, token, op=OP, seen=seen, reason="the gate jams")
    again = asker.act("release", JOB, token, op=OP, seen=seen, reason="the gate jams")
    assert (first.json(), again.status_code) == (again.json(), 200)
    assert job(house).standing is Standing.OPEN


def test_what_has_moved_on_since_it_was_looked_at_is_not_overrun(house, serve: Serve):
    asker = serve(SCANNER)
    seen = asker.job(JOB)["seen"]
    house.claims(TOKYO, JOB)
    answer = asker.act("claim", JOB, seen=seen)
    assert answer.status_code == 409
    assert "claimed by tokyo since entry" in answer.json()["words"]
    assert job(house).claim.site == TOKYO


def test_of_two_sites_that_claim_at_once_one_gets_it_and_the_other_is_told_who(house, serve: Serve):
    boards = {SCANNER: serve(SCANNER), TOKYO: serve(TOKYO)}
    ready = {site: (board.job(JOB)["seen"], board.token()) for site, board in boards.items()}
    answers = {}

    def claims(site):
        seen, token = ready[site]
        answers[site] = boards[site].act("claim", JOB, token, seen=seen)

    races = [threading.Thread(target=claims, args=(site,)) for site in boards]
    for race in races:
        race.start()
    for race in races:
        race.join()
    winner = job(house).claim.site
    loser = next(site for site in boards if site != winner)
    assert answers[winner].status_code == 200
    assert answers[loser].status_code == 409
    assert winner in answers[loser].json()["words"]


def test_a_board_does_not_speak_for_a_site_whose_key_it_does_not_have(house, serve: Serve, tmp_path):
    from relay.board.people import People

    (tmp_path / RULER / "board").mkdir(exist_ok=True)
    People(tmp_path / RULER / "board").add("kei", "site", TOKYO, "a long password", house.clock.hour)
    asker = serve(RULER, enters=False)
    assert asker.signs_in("kei", "a long password").status_code == 200
    answer = asker.act("claim", JOB)
    assert answer.status_code == 422
    assert "only that signs tokyo's word" in answer.json()["words"]
    assert job(house).standing is Standing.OPEN


def test_the_whole_way_from_claim_to_accept_and_back(house, serve: Serve):
    ruler, scanner = serve(RULER), serve(SCANNER)
    assert scanner.act("claim", JOB, until="2030-01-09T17:00").status_code == 422  # further than a year
    assert scanner.act("claim", JOB).status_code == 200
    assert scanner.act("extend", JOB, until="2027-09-01T17:00").status_code == 200
    # 17:00 in Halifax in September is 20:00 UTC: Atlantic Daylight Time is three hours behind (IANA tzdata).
    assert f"{job(house).claim.until:%Y-%m-%dT%H:%M}" == "2027-09-01T20:00"
    made = house.hands_in(SCANNER, JOB, range(24))
    ruler.sees("must receive it", "/reels/A/R01")
    early = ruler.act("accept", JOB)
    assert early.status_code == 422
    assert "not received whole" in early.json()["words"]
    house.receives(GRADER, made)
    ruler.sees("must judge it", "/reels/A/R01")
    assert ruler.act("return", JOB, reason="<b>soft</b> at 12").status_code == 200
    assert "&lt;b&gt;soft&lt;/b&gt; at 12" in ruler.sees("came back", "/jobs")
    scanner.sees("came back", "/jobs")
    assert scanner.act("claim", JOB).status_code == 200
    house.receives(GRADER, house.hands_in(SCANNER, JOB, range(24), look="b"))
    ruler.sees("must judge it", "/reels/A/R01")
    assert ruler.act("accept", JOB).status_code == 200
    assert job(house).standing is Standing.ACCEPTED


def test_an_edit_is_handed_on_with_its_note(house, serve: Serve):
    ruler, grader = serve(RULER), serve(GRADER)
    house.delivers(SCANNER, JOB, range(24), GRADER)
    house.opens()
    edit = "edit/A/R01/1"
    ruler.sees("edit/A/R01/1", "/jobs")
    assert ruler.act("claim", edit).status_code == 200
    told = {"to": GRADER, "done": "scene 1", "left": "scene 2", "frames": "0-10"}
    assert ruler.act("hand-on", edit, **told).status_code == 200
    grader.sees("Left: scene 2", "/jobs")
    assert grader.act("take", edit).status_code == 200
    assert job(house, edit).claim.site == GRADER


def test_what_is_not_said_fully_is_not_said(house, serve: Serve):
    asker, before = serve(SCANNER), entries(house)
    asker.act("claim", JOB)
    for lacking in ({"act": "release"}, {"act": "extend"}, {"act": "hand-on", "done": "a"}, {"act": "dance"}):
        assert asker.act(lacking.pop("act"), JOB, **lacking).status_code == 422
    assert entries(house) == before + 1


def test_a_form_says_the_same_where_no_script_runs(house, serve: Serve):
    asker = serve(SCANNER)
    form = {"act": "claim", "job": JOB, "op": OP, "seen": asker.job(JOB)["seen"], "token": asker.token()}
    answer = asker.post("/act", data={**form, "back": "/jobs?which=open"})
    assert answer.url.path == "/jobs"
    assert f"{JOB} is claimed by halifax" in answer.text
    away = asker.post("/act", data={**form, "back": "//elsewhere.example/"}, follow_redirects=False)
    assert away.headers["location"] == "/"
