"""Who comes in, what they see, and what strangers, guests and other people's pages cannot do."""

from datetime import timedelta

import pytest
from argon2 import extract_parameters

from relay.board.guard import POLICY, is_token, masked
from relay.board.people import _NOBODY, People
from relay.board.serve import Place
from relay.errors import RefusedError
from tests.unit.board.asking import Asker
from tests.unit.board.board_house import GRADER, RULER, SCANNER
from tests.unit.board.conftest import Serve

SHOWN = ("/", "/reels", "/reels/A/R01", "/jobs", "/sites", "/forecast", "/ledger", "/metrics", "/live")
ASKED = (
    "/api/now",
    "/api/reels",
    "/api/reels/A/R01",
    "/api/jobs",
    "/api/sites",
    "/api/forecast",
    "/api/ledger",
    "/api/compare",
)
PASSWORD = "an honest lamp"


@pytest.fixture
def people(house, tmp_path):
    return People(tmp_path / RULER / "board")


def test_a_stranger_sees_the_door_and_nothing_else(serve: Serve):
    asker = serve(enters=False)
    for path in SHOWN[:7]:
        answer = asker.get(path)
        assert answer.url.path == "/enter"
        assert "Quillmark" not in answer.text
    for path in (*SHOWN[7:], *ASKED):
        assert asker.get(path).status_code == 401
    assert asker.post("/api/acts", json={}).status_code == 401


def test_the_printed_address_opens_the_door_once_and_its_secret_leaves_the_address(serve: Serve):
    asker = serve(enters=False)
    answer = asker.comes_in("open sesame")
    assert (answer.status_code, answer.url.path, str(answer.url.query)) == (200, "/", "b''")
    with Asker(str(asker.base_url)) as other:
        assert other.comes_in("open sesame").status_code == 403
        assert other.get("/api/now").status_code == 401


def test_people_sign_in_by_their_password_until_it_is_taken_back(house, serve: Serve, people):
    people.add("ines", "coordinator", RULER, PASSWORD, house.clock.hour)
    asker = serve(enters=False)
    assert asker.signs_in("ines", "another").status_code == 403
    assert asker.signs_in("nobody", PASSWORD).status_code == 403
    assert "ines, Lisbon" in asker.signs_in("ines", PASSWORD).text
    people.remove("ines")
    assert asker.get("/api/now").status_code == 401


def test_a_new_password_ends_the_sessions_of_the_old_one(house, serve: Serve, people):
    people.add("ines", "coordinator", RULER, PASSWORD, house.clock.hour)
    asker = serve(enters=False)
    asker.signs_in("ines", PASSWORD)
    people.add("ines", "coordinator", RULER, "another lamp", house.clock.hour + timedelta(seconds=1))
    assert asker.get("/api/now").status_code == 401


def test_whoever_guesses_has_to_wait(house, serve: Serve, people):
    people.add("ines", "coordinator", RULER, PASSWORD, house.clock.hour)
    asker = serve(enters=False)
    answers = [asker.signs_in("ines", f"guess {n} of many").status_code for n in range(6)]
    assert answers == [403] * 5 + [429]
    late = asker.signs_in("ines", PASSWORD)
    assert late.status_code == 429
    assert int(late.headers["retry-after"]) > 0


def test_signing_out_ends_it(serve: Serve):
    asker = serve()
    assert asker.post("/leave", data={"token": "00" * 64}).status_code == 403
    assert asker.post("/leave", data={"token": asker.token()}).url.path == "/enter"
    assert asker.get("/api/now").status_code == 401


def test_a_guest_sees_one_archive_s_elements_and_says_nothing(house, serve: Serve, people):
    made = house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER, note="of the tinted print")
    house.delivers(SCANNER, "scan/B/R01/1", range(24), GRADER, note="of the safety master")
    secret = people.issue("the vault", "guest", "North Stair Picture Archive", house.clock.hour + timedelta(days=9))
    asker = serve(enters=False)
    assert asker.comes_in(secret).url.path == "/"
    shown = "".join(asker.get(path).text for path in ("/", "/reels", "/reels/B/R01", "/jobs", "/sites", "/ledger"))
    told = "".join(asker.get(f"/api/{part}").text for part in ("now", "reels", "jobs", "ledger", "sites"))
    for text in (shown, told):
        assert "B/R01" in text
        for hidden in ("A/R0", "C/R0", "tinted", "Copper Shelf", "schoolroom"):
            assert hidden not in text, hidden
    for path in ("/reels/A/R01", "/api/reels/A/R01", f"/api/compare?before={made}&after={made}"):
        assert asker.get(path).status_code == 404
    assert asker.get("/metrics").status_code == 403
    answer = asker.act("claim", "scan/B/R02/1", seen="open......")
    assert answer.status_code == 422
    assert "may look" in answer.json()["words"]


def test_a_link_ends_on_its_day(house, serve: Serve, people):
    secret = people.issue("the vault", "guest", "North Stair Picture Archive", house.clock.hour - timedelta(days=1))
    assert serve(enters=False).comes_in(secret).status_code == 403


def test_a_script_reads_with_its_token_and_says_nothing(house, serve: Serve, people):
    secret = people.issue("monitoring", "machine", None, house.clock.hour + timedelta(days=9))
    asker = serve(enters=False)
    asker.headers["authorization"] = f"Bearer {secret}"
    assert 'relay_jobs{stage="scan",standing="open"}' in asker.get("/metrics").text
    assert asker.get("/api/now").status_code == 200
    assert asker.act("claim", "scan/A/R01/1", token="").status_code == 403
    asker.headers["authorization"] = "Bearer guess"
    assert asker.get("/metrics").status_code == 401


def test_a_form_without_the_session_s_token_does_nothing(house, serve: Serve):
    asker, before = serve(SCANNER), house.ledger(RULER).follow().sequence
    for token in ("", "00" * 64, "zz"):
        assert asker.act("claim", "scan/A/R01/1", token=token).status_code == 403
    assert house.ledger(RULER).follow().sequence == before


@pytest.mark.parametrize(
    "headers", [{"origin": "https://elsewhere.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}]
)
def test_another_site_s_page_cannot_speak(serve: Serve, headers):
    asker = serve(SCANNER)
    asker.headers.update(headers)
    assert asker.act("claim", "scan/A/R01/1").status_code == 403


def test_a_board_answers_to_its_own_name_only(serve: Serve):
    assert serve().get("/", headers={"host": "rebound.example"}).status_code == 400


def test_what_is_too_long_is_not_read(serve: Serve):
    asker = serve()
    assert asker.post("/api/acts", content=b"x" * 70_000).status_code == 413
    assert asker.post("/enter", content=(b"x" * 1000 for _ in range(70))).status_code == 413


def test_every_answer_carries_the_headers(serve: Serve):
    asker = serve()
    for path in ("/", "/api/now", "/nowhere", "/static/board.css", "/enter"):
        headers = asker.get(path).headers
        assert headers["content-security-policy"] == POLICY
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
    assert "'unsafe" not in POLICY
    assert asker.get("/").headers["cache-control"] == "no-store"


def test_no_page_holds_script_or_style_of_its_own(house, serve: Serve):
    house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER)
    asker = serve()
    asker.sees("What sets the finish", "/forecast")
    for path in ("/", "/reels", "/reels/A/R01", "/jobs", "/sites", "/forecast", "/ledger"):
        text = asker.get(path).text
        assert text.count("<script") == text.count('<script src="/static/')
        for word in ("<style", " style=", " onclick", " onload", "javascript:", "http://", "https://"):
            assert word not in text, (path, word)


def test_the_cookie_is_kept_from_scripts_and_other_sites(serve: Serve):
    cookie = (
        serve(enters=False).get("/enter", params={"key": "open sesame"}, follow_redirects=False).headers["set-cookie"]
    )
    assert "httponly" in cookie.lower()
    assert "samesite=lax" in cookie.lower()


def test_a_token_looks_different_every_time_and_is_still_known():
    token = "ab" * 32
    shown = {masked(token) for _ in range(20)}
    assert len(shown) == 20
    assert all(is_token(each, token) for each in shown)
    assert not is_token(masked("cd" * 32), token)
    assert not is_token("", token)


def test_passwords_never_travel_in_the_clear():
    with pytest.raises(RefusedError, match="in the clear"):
        Place(address="0.0.0.0", hosts=("board.example.org",)).check()
    with pytest.raises(RefusedError, match="by which name"):
        Place(address="0.0.0.0", is_behind_proxy=True).check()


def test_a_name_that_nobody_has_costs_as_much_as_a_wrong_password(house, people):
    """The parameters of its hash say what comparing costs: RFC 9106, section 3.1."""
    people.add("ines", "coordinator", RULER, PASSWORD, house.clock.hour)
    (ines,), _ = people.all()
    assert extract_parameters(_NOBODY) == extract_parameters(ines.password)
    assert people.signed_in("nobody", PASSWORD) is None


def test_a_short_password_is_refused(house, people):
    with pytest.raises(RefusedError, match="expected 10 to 256"):
        people.add("ines", "coordinator", RULER, "short", house.clock.hour)


def test_no_secret_lies_in_the_register(house, people, tmp_path):
    people.add("ines", "coordinator", RULER, PASSWORD, house.clock.hour)
    secret = people.issue("monitoring", "machine", None, house.clock.hour)
    file = tmp_path / RULER / "board" / "people.json"
    assert PASSWORD not in file.read_text()
    assert secret not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0
