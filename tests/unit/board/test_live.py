"""Pages that stay true: an event after each entry, and the last that was known while the store is away."""

import json
from datetime import timedelta

from relay.board.rows.needs import Cost, needs_of
from tests.unit.board.board_house import GRADER, RULER, SCANNER
from tests.unit.board.board_scene import NOON, floor, view
from tests.unit.board.conftest import Serve

JOB = "scan/A/R01/1"


def test_an_open_page_is_told_of_every_entry(house, serve: Serve):
    asker = serve()
    with asker.stream("GET", "/live") as events:
        lines = events.iter_lines()
        told = next(json.loads(line.removeprefix("data: ")) for line in lines if line.startswith("data: "))
        house.claims(SCANNER, JOB)
        for line in lines:
            if line.startswith("data: "):
                later = json.loads(line.removeprefix("data: "))
                if later["entry"] > told["entry"]:
                    break
    assert later["number"] > told["number"]
    assert later["stale"] is False


def test_while_the_store_is_away_the_last_that_was_known_is_shown(house, serve: Serve):
    house.claims(SCANNER, JOB)
    asker = serve()
    away = house.store_folder.with_name("unplugged")
    house.store_folder.rename(away)
    text = asker.sees("The store has not answered since", "/reels/A/R01")
    assert "Halifax has it for scan" in text
    assert asker.get("/health").status_code == 503
    answer = asker.act("reassign", JOB, reason="they are ill")
    assert answer.status_code in {404, 503}
    away.rename(house.store_folder)
    asker.sees("Halifax has it for scan", "/reels/A/R01")
    while asker.get("/health").status_code != 200:
        pass
    assert "has not answered" not in asker.get("/").text


def test_a_board_starts_while_the_store_is_away(house, serve: Serve):
    house.claims(SCANNER, JOB)
    serve().sees("Halifax has it for scan", "/reels/A/R01")
    house.store_folder.rename(house.store_folder.with_name("unplugged"))
    assert "Halifax has it for scan" in serve().sees("Stale.", "/reels/A/R01")


def test_an_altered_ledger_is_an_alarm_on_every_page(house, serve: Serve):
    asker = serve()
    newest = max((house.store_folder / "entries").iterdir())
    body = newest.read_bytes()
    newest.chmod(0o600)
    newest.write_bytes(body.replace(b"job-opened", b"job-0pened"))
    assert "The ledger does not hold" in asker.sees("does not hold", "/jobs")


def test_frames_come_once_the_manifests_were_read(house, serve: Serve):
    house.delivers(SCANNER, JOB, [*range(100), *range(200, 15_840)], GRADER)
    asker = serve()
    text = asker.sees("lacks 100 frames: 100-199", "/reels/A/R01")
    assert "15,740 frames: 0-99, 200-15839" in text


def test_what_differs_is_told_in_the_reel_s_own_frames(house, serve: Serve):
    one = house.delivers(SCANNER, JOB, range(100), GRADER)
    house.opens()
    two = house.delivers(GRADER, "grade/A/R01/1", range(10, 120), SCANNER)
    asker = serve()
    told = asker.get("/api/compare", params={"before": one, "after": two}).json()
    assert (told["added"], told["removed"]) == ([{"first": 100, "last": 119}], [{"first": 0, "last": 9}])
    assert told["changed"] == []


def test_a_page_for_each_reel_and_none_for_others(serve: Serve):
    asker = serve()
    for reel in ("A/R01", "C/R02"):
        assert asker.get(f"/reels/{reel}").status_code == 200
    for reel in ("Z/R01", "A/R99", "..%2f..%2fetc/passwd", "A/%00"):
        assert asker.get(f"/reels/{reel}").status_code == 404


def test_what_lands_just_after_closing_needs_someone():
    from relay.board.rows.view import Span

    told = floor()
    told.delivers("scan/A/R01")
    shifts = {"kolkata": (Span(start=NOON, end=NOON + timedelta(hours=6)),)}

    def found(hours):
        lands = {("A/R01/v1", "kolkata"): NOON + timedelta(hours=hours)}
        return [need.cost for need in needs_of(view(told, shifts=shifts, lands=lands)) if need.cost is Cost.LANDS_LATE]

    assert (found(5), found(7), found(11)) == ([], [Cost.LANDS_LATE], [])


def test_the_index_stays_whole_over_many_entries(house, serve: Serve):
    asker = serve()
    for _ in range(3):
        house.claims(SCANNER, JOB)
        claim = house.ledger(RULER).follow().jobs[JOB].claim
        while asker.job(JOB)["epoch"] != claim.epoch:
            pass
        assert asker.act("reassign", JOB, reason="again").status_code == 200
    lines = asker.get("/api/ledger", params={"most": 100}).json()
    assert [line["entry"] for line in lines] == list(range(house.ledger(RULER).follow().sequence, -1, -1))


def test_the_forecast_stands_against_the_premiere(house, serve: Serve):
    asker = serve()
    text = asker.sees("All is expected to be done")
    told = asker.get("/api/now").json()["premiere"]
    assert told["best"] <= told["forecast"] <= told["worst"]
    assert told["spare"].endswith("before it" if told["forecast"] < told["instant"] else "after it")
    assert told["spare"] in text
