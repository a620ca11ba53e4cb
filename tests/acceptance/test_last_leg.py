"""The delivery to the venue, by the commands and the production's file of the runbook's page."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from relay.settings import CLOCK_VARIABLE
from tests.acceptance.command import REPO, Forker, environment
from tests.acceptance.house import PRODUCTION, House

RUNBOOK = (REPO / "deploy" / "RUNBOOK.md").read_text(encoding="utf-8")
PAGE = RUNBOOK.partition("## The last leg")[2].partition("\n## ")[0]
GRADE = '\n[[stage]]\nname = "grade"\nof = ["A/R01"]\n'
# The premiere is on 18 September 2027 at 19:00 in Oslo, summer time by tzdata; ten days before, at that hour:
DUE = "2027-09-08T17:00:00+00:00"


def on(day: str) -> dict[str, str]:
    """Return an environment in which it is noon of that day, in UTC."""
    return environment(**{CLOCK_VARIABLE: f"1 {datetime.now(UTC).isoformat()} {day}T12:00:00Z"})


@pytest.fixture
def house(forker: Forker, tmp_path: Path) -> House:
    """Halifax grades; then the venue joins, and Tokyo packs for it. It is August."""
    house = House(forker, tmp_path, env=on("2027-08-02"))
    grading = PRODUCTION.replace('zone = "America/Halifax"\n', 'zone = "America/Halifax"\nstages = ["grade"]\n') + GRADE
    (tmp_path / "quillmark.toml").write_text(grading, encoding="utf-8")
    house.create()
    (block,) = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    packing = grading.replace('zone = "Asia/Tokyo"\n', 'zone = "Asia/Tokyo"\nstages = ["deliver"]\n') + block
    packing += "inspected = false\n"  # the frames here are no pictures
    (tmp_path / "quillmark.toml").write_text(packing, encoding="utf-8")
    house("lisbon", "production", "revise", "quillmark.toml", "--reason", "the venue joins")
    house("lisbon", "site", "invite", "oslo")
    house("oslo", "site", "join", "oslo.invitation")
    return house


def delivered(house: House) -> None:
    house("halifax", "claim", "grade/A/R01")
    house.send("halifax", house.scan("graded"))
    house("tokyo", "fetch", "A/R01", "graded-here")
    house("tokyo", "claim", "deliver/A/R01")
    house.send("tokyo", house.scan("package", seed=2))


def jobs(house: House, site: str, *words: str) -> dict[str, dict[str, object]]:
    return {job["job"]: job for job in house.told(site, "jobs", *words)["jobs"]}


def test_a_package_is_accepted_by_the_venue_after_its_receipt_and_screening(house: House):
    delivered(house)
    assert "not received whole by oslo yet" in house.refused("lisbon", "accept", "deliver/A/R01")
    assert jobs(house, "oslo", "--mine")["deliver/A/R01/1"]["mind"] == ["on its way to oslo"]
    house("oslo", "fetch", "A/R01", "screening")
    job = jobs(house, "oslo", "--mine")["deliver/A/R01/1"]
    assert (job["due"], job["mind"]) == (DUE, ["waits for the word of oslo"])
    house("oslo", "accept", "deliver/A/R01", "--note", "check screening: sound in step")
    assert "check screening: sound in step" in house("tokyo", "jobs", "--all").out
    assert jobs(house, "lisbon", "--all")["deliver/A/R01/1"]["standing"] == "accepted"


def test_a_package_that_fails_its_screening_goes_back_to_who_packed_it(house: House):
    delivered(house)
    house("oslo", "fetch", "A/R01", "screening")
    house("oslo", "return", "deliver/A/R01", "--reasons", "frames 4-9 out of rack")
    assert jobs(house, "tokyo", "--mine")["deliver/A/R01/1"]["prefers"] == "tokyo"
    house("tokyo", "claim", "deliver/A/R01")
    assert house.send("tokyo", house.scan("package-again", seed=3))["version"] == "A/R01/v3"


def test_a_delivery_is_late_the_day_after_it_was_due(house: House):
    delivered(house)
    house.env = on("2027-09-05")
    assert jobs(house, "lisbon")["deliver/A/R01/1"]["mind"][0] == "due 2027-09-08 17:00 UTC, not accepted yet"
    assert jobs(house, "lisbon", "--late", "--stage", "deliver") == {}
    house.env = on("2027-09-09")
    (late,) = jobs(house, "lisbon", "--late", "--stage", "deliver").values()
    assert late["mind"][0] == "not accepted in time: due 2027-09-08 17:00 UTC"


def test_a_delivery_that_cannot_be_begun_is_shown_as_late(house: House):
    assert house.told("lisbon", "jobs")["not_open_yet"] == []
    house.env = on("2027-09-09")
    (waiting,) = house.told("lisbon", "jobs", "--late")["not_open_yet"]
    assert (waiting["job"], waiting["due"]) == ("deliver/A/R01/1", DUE)
    assert "not open yet" in house("lisbon", "jobs", "--late").out


def test_the_route_says_who_receives_and_by_when(house: House):
    shown = house("lisbon", "production", "show").out
    assert "deliver after grade, received by oslo, accepted by oslo, due 08 September 2027 17:00 UTC" in shown
