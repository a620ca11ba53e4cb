"""`relay forecast`, as a coordinator asks it: today's clock, a premiere far away, round-the-clock houses."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House

ALWAYS = '[[site.shift]]\ndays = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]\nfrom = "06:00"\nto = "06:00"\n'
ROUTE = """
[[stage]]
name = "scan"
rate = 8160

[[stage]]
name = "grade"
after = ["scan"]
rate = 2040
"""


@pytest.fixture(scope="module")
def house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("forecast"))
    at = datetime.now(UTC) + timedelta(days=200)
    text = PRODUCTION.replace("2027-09-18T19:00:00", f"{at:%Y-%m-%dT19:00:00}").replace("2027-12-01", f"{at:%Y-%m-%d}")
    text = text.replace('name = "R02"\n', 'name = "R02"\nframes = 8160\n')
    text = text.replace("mends = true\n", f'stages = ["scan"]\nhands = {{ scan = 2 }}\nline = 1000\n{ALWAYS}')
    text = text.replace('zone = "Asia/Tokyo"\n', f'zone = "Asia/Tokyo"\nstages = ["grade"]\nline = 1000\n{ALWAYS}')
    (house.place / "quillmark.toml").write_text(text + ROUTE, encoding="utf-8")
    house.create()
    return house


def asked(house: House, *words: str) -> dict[str, Any]:
    return house.told("lisbon", "forecast", *words)


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def test_the_finish_is_what_work_and_lines_add_up_to(house: House):
    """R01 is scanned for 120 minutes, R02 for 60, side by side; graded one after the other for 480 and 240. 12,748,800
    bytes a frame over two lines of 125 * 10^6 bytes a second: 27.7 minutes for R02, so 28."""
    facts = asked(house)
    left = instant(facts["finish"]["likely"]) - instant(facts["now"]).replace(second=0)
    assert left == timedelta(minutes=60 + 28 + 240 + 480)
    assert instant(facts["finish"]["low"]) < instant(facts["finish"]["likely"]) < instant(facts["finish"]["high"])
    assert [reel["reel"] for reel in facts["reels"]] == ["A/R01", "A/R02"]
    assert [step["job"] for step in facts["chain"]][-1] == "grade/A/R01/1"
    assert facts["late_by_minutes"] < 0
    assert any("bytes a frame" in guess for guess in facts["taken_for_granted"])


def test_what_is_supposed_stands_beside_today(house: House):
    facts = asked(house, "--what-if", "tokyo one more at grade")
    today, then = instant(facts["finish"]["likely"]), instant(facts["what_if"]["finish"]["likely"])
    # R01 is graded as soon as it is there: 55.5 minutes, so 56, after its scan.
    assert today - then == timedelta(minutes=(60 + 28 + 240 + 480) - (120 + 56 + 480))
    text = house("lisbon", "forecast", "--what-if", "tokyo one more at grade").out
    assert "If tokyo one more at grade: finished" in text
    assert "2 h 32 min sooner" in text


def test_a_production_s_file_can_be_supposed(house: House):
    text = (house.place / "quillmark.toml").read_text().replace("rate = 2040", "rate = 1020")
    (house.place / "slower.toml").write_text(text)
    facts = asked(house, "--what-if", "slower.toml")
    assert instant(facts["what_if"]["finish"]["likely"]) > instant(facts["finish"]["likely"])


def timeless(text: str) -> str:
    """Return `text` without its minutes: the next command may be of the next one."""
    return re.sub(r"\d\d:\d\d UTC", "", text)


def test_a_choice_is_explained_in_a_sentence(house: House):
    said = asked(house, "--why", "grade/A/R01")["why"]
    assert "grade of A/R01 is at tokyo" in said
    assert timeless(said) in timeless(house("lisbon", "forecast", "--why", "grade/A/R01").out)
    assert "no job grade/A/R09 is planned" in house.refused("lisbon", "forecast", "--why", "grade/A/R09", ends=3)


def test_people_see_reels_chain_and_pictures(house: House):
    text = house("lisbon", "forecast").out
    assert text.startswith("The Lamp at Quillmark: finished ")
    for shown in ("before the premiere", "What sets the finish:", "The plan", "━", "█" * 48, "Taken for granted:"):
        assert shown in text
    assert "lisbon/desk" not in text
    assert max(map(len, text.splitlines())) < 400


def test_each_site_has_a_calendar_that_others_can_read(house: House):
    facts = asked(house, "--calendars", "calendars")
    assert [Path(path).name for path in facts["calendars"]] == ["lisbon.ics", "halifax.ics", "tokyo.ics"]
    calendar = Calendar.from_ical((house.place / "calendars" / "tokyo.ics").read_bytes())
    arrivals = [event for event in calendar.walk("VEVENT") if str(event["summary"]).startswith("scan of A/R02 lands")]
    assert [event.decoded("dtstart") - instant(facts["now"]).replace(second=0) for event in arrivals] == [
        timedelta(minutes=88)
    ]


def test_a_person_says_who_goes_on_before_the_job_is_open(house: House):
    facts = house.told("lisbon", "reassign", "grade/A/R02", "--to", "tokyo", "--reason", "they graded the first reel")
    assert (facts["job"], facts["standing"], facts["expected"]) == ("grade/A/R02/1", "to come", "tokyo")
    again = house("lisbon", "reassign", "grade/A/R02", "--to", "tokyo", "--reason", "they graded the first reel").out
    assert "tokyo is expected to take it; that was so before." in again
    assert "halifax does not do grade" in house.refused(
        "lisbon", "reassign", "grade/A/R02", "--to", "halifax", "--reason", "they are awake"
    )
    assert "expects tokyo to go on with job grade/A/R02/1: they graded" in house("lisbon", "ledger", "show").out


def test_what_cannot_be_supposed_is_refused(house: House):
    assert "nothing to suppose here" in house.refused("lisbon", "forecast", "--what-if", "it rains")
    assert "no file gone.toml" in house.refused("lisbon", "forecast", "--what-if", "gone.toml", ends=3)


def test_a_country_that_nobody_lists_is_refused_before_the_production_is_made(forker: Forker, tmp_path: Path):
    fresh = House(forker, tmp_path)
    text = PRODUCTION.replace("mends = true", 'holidays = { country = "XX" }')
    (tmp_path / "film.toml").write_text(text)
    said = fresh.refused("lisbon", "production", "create", "film.toml", "--store", "store")
    assert "film.toml: site 'halifax': holidays of 'XX' are not known" in said
    assert not (tmp_path / "lisbon").exists()
