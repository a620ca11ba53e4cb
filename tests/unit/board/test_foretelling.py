"""The page Forecast and its JSON: bars, ranges, what sets the finish, and what would be if."""

from datetime import UTC, datetime, timedelta
from html import unescape
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from relay.board.people import People
from relay.board.reckoning import Here
from relay.board.rows.chart import chart_of, days_between, differences
from relay.board.rows.foreseen import foreseen
from relay.board.serve import Place, Running, app_at
from relay.board.supposing import Asked, Supposing
from relay.board.web import timed
from relay.clock import SystemClock
from relay.errors import RefusedError
from relay.forecast.ground import Ground
from relay.forecast.outlook import forecast
from relay.shifts.planner import no_time
from tests.unit.board.asking import Asker
from tests.unit.board.board_house import BoardHouse, quillmark
from tests.unit.board.conftest import Serve

NOON = datetime(2027, 1, 4, 12, tzinfo=UTC)  # a Monday
TODAY = SystemClock().now().date()
CLOSED = f"tokyo closed {TODAY} to {TODAY + timedelta(days=40)}"


@pytest.fixture
def found(house: BoardHouse):
    return forecast(Ground.of(house.ledger("lisbon").follow(), NOON), no_time)


def test_bars_and_reels_are_what_the_plan_says(found):
    seen = foreseen(found)
    assert {bar.job for bar in seen.bars} == set(found.plan.outlooks)
    assert [reel.reel for reel in seen.reels] == [reel.reel for reel in found.reels]
    assert all(reel.low <= reel.finish <= reel.high for reel in seen.reels)
    assert max(bar.finish for bar in seen.bars) == seen.finish
    assert {bar.job for bar in seen.bars if bar.sets_finish} == {link.task for link in found.plan.chain}
    for bar in seen.bars:
        hours = next(house.hours for house in seen.houses if house.site == bar.site)
        assert all(any(span.start <= each.start and each.end <= span.end for span in hours) for each in bar.spells)


def test_in_one_lane_nothing_overlaps_and_every_bar_that_is_shown_is_in_one(found):
    seen = foreseen(found)
    chart = chart_of(seen, "site", "all")
    drawn = [bar for row in chart.rows for lane in row.lanes for bar in lane]
    assert len(drawn) == len(seen.bars)
    for row in chart.rows:
        for lane in row.lanes:
            assert all(one.finish <= two.start for one, two in pairwise(lane))


def test_a_drawing_is_cut_to_what_it_shows(found):
    chart = chart_of(foreseen(found), "site", "days")
    assert chart.end - chart.start == timedelta(days=3)
    spans = [span for row in chart.rows for lane in row.lanes for bar in lane for span in bar.spells]
    assert spans
    assert all(chart.start <= span.start < span.end <= chart.end for span in spans)


def test_rows_by_reel_carry_the_finish_as_a_range(found):
    chart = chart_of(foreseen(found), "reel", "all")
    assert all(row.whisker and row.whisker.low <= row.whisker.likely <= row.whisker.high for row in chart.rows)


def test_a_day_in_halifax_is_an_hour_longer_between_two_mornings_when_its_clocks_go_back():
    # IANA tzdata, America/Halifax: clocks go back at 05:00 UTC on Sunday 1 November 2026.
    start = datetime(2026, 10, 31, tzinfo=UTC)
    days = list(days_between(start, start + timedelta(days=2), ZoneInfo("America/Halifax")))
    mornings = [span.start for span in days if span.start > start]
    assert mornings[1] - mornings[0] == timedelta(hours=25)


def test_a_reel_that_comes_sooner_is_said_to(found):
    today = foreseen(found)
    sooner = today.model_copy(
        update={"reels": tuple(r.model_copy(update={"finish": r.finish - timedelta(hours=2)}) for r in today.reels)}
    )
    assert {each.words for each in differences(today, sooner)} == {"2 h sooner"}
    assert {each.words for each in differences(today, today)} == {"the same"}


def test_what_the_form_says_is_what_the_command_takes(found):
    asks = [
        Asked.model_validate({"what": "closed", "site": "tokyo", "first": "2027-01-05", "last": "2027-01-09"}),
        Asked.model_validate({"what": "hand", "site": "kolkata", "stage": "grade"}),
        Asked.model_validate({"what": "print", "element": "A", "first": "2027-02-01", "site": "halifax"}),
        Asked.model_validate({"what": "line", "site": "halifax", "times": "2.5"}),
    ]
    reckoner = Here(SystemClock())
    today = reckoner.today(found.ground.state, NOON)
    then = Supposing(reckoner).then(today.rows, tuple(each.text() for each in asks))
    assert then.finish != found.finish
    with pytest.raises(RefusedError, match="no day was given"):
        Asked.model_validate({"what": "closed", "site": "tokyo"}).text()


def test_the_page_shows_today_and_then_and_takes_it_back(serve: Serve):
    asker = serve()
    page = asker.sees("What sets the finish", "/forecast")
    for words in ("before the premiere", "by reel", "Lisbon", "When each reel is finished", "Taken for granted"):
        assert words in page
    closed = {"site": "tokyo", "first": f"{TODAY}", "last": f"{TODAY + timedelta(days=40)}"}
    form = {"what": "closed", **closed, "by": "reel", "far": "all"}
    answer = asker.get("/forecast/suppose", params=form)
    assert answer.status_code == 200
    assert answer.url.params.get("if") == CLOSED
    assert f"And if {CLOSED}" in answer.text
    assert "Difference" in answer.text
    more = asker.get(
        "/forecast/suppose", params={"what": "line", "site": "tokyo", "times": "2", "if": form_text(answer)}
    )
    assert more.url.params.get_list("if") == [form_text(answer), "tokyo line 2"]


def form_text(answer) -> str:
    return unescape(answer.url.params.get("if"))


def test_the_json_says_the_same_as_the_page(serve: Serve):
    asker = serve()
    asker.sees("What sets the finish", "/forecast")
    facts = asker.get("/api/forecast", params={"if": [CLOSED]}).json()
    assert facts["supposed"] == [CLOSED]
    assert facts["then"]["finish"] > facts["today"]["finish"]
    first = facts["today"]["chain"][0]
    assert (first["site"], " at halifax from " in first["why"]) == ("halifax", True)
    assert str(timed(first["why"], ZoneInfo("America/Halifax"), "in Halifax")) in asker.get("/forecast").text
    schema = asker.get("/openapi.json").json()["paths"]["/api/forecast"]["get"]
    assert "if" in [each["name"] for each in schema["parameters"]]


def test_what_cannot_be_supposed_is_said_and_today_stays(serve: Serve):
    asker = serve()
    asker.sees("What sets the finish", "/forecast")
    for text, words in (("it rains", "nothing to suppose here"), ("nowhere line 2", "no site nowhere")):
        answer = asker.get("/forecast", params={"if": text})
        assert answer.status_code == 422
        assert words in unescape(answer.text)
        assert "What sets the finish" in answer.text
        assert asker.get("/api/forecast", params={"if": text}).status_code == 422
    assert asker.get("/forecast", params={"if": ["tokyo line 2"] * 7}).status_code == 422
    hostile = asker.get("/forecast", params={"if": "<script>alert(1)</script>"})
    assert "<script>alert" not in hostile.text


def test_after_the_premiere_the_board_lives_on_and_says_why_there_is_no_forecast(tmp_path):
    past = {"at": "2026-09-18T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall, Oslo"}
    late = BoardHouse(tmp_path, quillmark(premiere=past))
    late.opens()
    with (
        Running(app_at(late.home("lisbon"), [], Place(), once="open sesame")) as running,
        Asker(running.address) as asker,
    ):
        asker.comes_in("open sesame")
        page = unescape(asker.sees("the premiere was Fri 2026-09-18 17:00 UTC", "/forecast"))
        assert "production revise" in page
        assert asker.get("/api/forecast").json()["today"] is None
        assert "It was" in asker.get("/").text
        assert {asker.get(path).status_code for path in ("/reels", "/jobs", "/sites", "/api/now")} == {200}


def test_a_guest_sees_no_forecast(serve: Serve, house: BoardHouse):
    people = People(house.home("lisbon").folder / "board")
    secret = people.issue("the vault", "guest", "North Stair Picture Archive", house.clock.hour + timedelta(days=9))
    guest = serve(enters=False)
    guest.comes_in(secret)
    assert 'href="/forecast"' not in guest.get("/").text
    assert guest.get("/forecast").status_code == 422
    assert guest.get("/api/forecast").status_code == 422
