"""`relay late`, as a supervisor asks it when one more print has come: two prints, a route of one stage, a premiere."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.prints import IN_B, OTHER, looked_at, numbered, put_side_by_side, two_prints, two_shots
from tests.acceptance.test_forecast import ALWAYS

GRADE = """
[[stage]]
name = "grade"
rate = 10
"""
MORE = OTHER.replace('code = "B"', 'code = "C"').replace('name = "R01"\n', 'name = "R01"\nframes = 500\n')


def production(premiere: timedelta, route: str = GRADE) -> str:
    """Return a production in which one person grades ten frames an hour, day and night."""
    at = datetime.now(UTC) + premiere
    text = PRODUCTION.replace("2027-09-18T19:00:00", f"{at:%Y-%m-%dT%H:%M:%S}").replace("Europe/Oslo", "UTC")
    text = text.replace("2027-12-01", f"{at + timedelta(days=30):%Y-%m-%d}")
    text = text.replace("frames = 16320\n", "frames = 34\n").replace('name = "R02"\n', 'name = "R02"\nframes = 10\n')
    text = text.replace('zone = "Asia/Tokyo"\n', f'zone = "Asia/Tokyo"\nstages = ["grade"]\nline = 1000\n{ALWAYS}')
    return text + OTHER + route


@pytest.fixture(scope="module")
def house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("late"))
    two_prints(house, production(timedelta(days=200)))
    put_side_by_side(house.place)
    looked_at(house, "B/R01", two_shots(list(numbered(IN_B, 100).values()), 121))
    return house


def revised(house: House, text: str) -> None:
    (house.place / "revised.toml").write_text(text, encoding="utf-8")
    house("lisbon", "production", "revise", "revised.toml", "--reason", "another day")


def test_what_it_fills_how_it_looks_and_what_it_costs_are_one_report(house: House):
    told = house.told("lisbon", "late", "B", "--seconds", "0")
    (reel,) = told["reels"]
    assert (reel["version"], reel["beside"], reel["adds"], reel["nowhere"]) == (
        "B/R01/v1",
        ["A/R01/v1"],
        [[112, 117]],
        0,
    )
    (filled,) = reel["fills"]
    assert (filled["version"], filled["frames"], filled["by"]) == ("A/R01/v1", [12, 17], [[112, 117]])
    assert (filled["before"], filled["adds"], filled["sure"]) == (None, True, True)
    assert [each["frames"] for each in reel["quality"]] == [[100, 111], [125, 136]]  # one a shot
    for each in reel["quality"]:
        late, other = each["late"], each["other"]
        assert each["by"]["tones"] == pytest.approx(
            (late["light"] - late["dark"]) - (other["light"] - other["dark"]), abs=0.01
        )
        assert each["by"]["tones"] < 0  # B was drawn with half the contrast
    assert {name: cost["frames"] for name, cost in told["cost"].items()} == {"filling": 6, "whole": 37}
    sizes = {path.stat().st_size for path in (house.place / "b").iterdir()}
    assert told["cost"]["filling"]["bytes"] == 6 * sizes.pop()
    (hours,) = told["cost"]["filling"]["hours"]
    assert (hours["stage"], hours["site"], hours["minutes"]) == (
        "grade",
        "tokyo",
        {"low": 29, "likely": 36, "high": 54},
    )
    assert told["forecast"]["verdict"] == "all of it"


def test_people_read_it_on_one_page(house: House):
    said = house("lisbon", "late", "B", "--seconds", "0", "--keep").out
    for shown in (
        "B: The print from the north (duplicate negative, second), from Harbour Street Archive.",
        "In short: it fills 6 frames that no other print did (122.9 kB, 36 min of work). The forecast allows",
        "6 frames of it fill what no other print did",
        "Shot by shot, beside A/R01/v1: worse: tones in 2 of 2 (by up to 18.20); sharpness, grain, damage",
        "nobody",
        "what fills gaps  6",
        "36 min (29 min to 54 min)",
        "3 h 42 min (2 h 58 min to 5 h 33 min)",
        "The forecast allows all of it.",
        "Kept as late_B.json",
    ):
        assert shown in said
    (kept,) = house.told("halifax", "material", "list", "B")["material"]
    assert (kept["name"], kept["by"]) == ("late_B.json", "lisbon")
    house("halifax", "material", "get", "late_B.json", house.place)
    assert json.loads((house.place / "late_B.json").read_text())["reels"][0]["adds"] == [[112, 117]]


@pytest.mark.parametrize(
    ("minutes", "verdict"),
    [(250, "late without it"), (282, "none of it"), (400, "what fills gaps")],
)
def test_the_forecast_says_how_much_of_it_is_allowed(house: House, minutes: int, verdict: str):
    """44 frames of A take 264 minutes, the 6 that B fills 36 more, its 37 in all 222 more."""
    revised(house, production(timedelta(minutes=minutes)))
    entries = house.entries
    told = house.told("lisbon", "late", "B", "--seconds", "0", "--no-pictures")
    assert told["reels"][0]["quality"] == []
    assert told["forecast"]["verdict"] == verdict
    finish = {name: told["forecast"][name]["finish"] for name in ("without", "filling", "whole")}
    at = {name: datetime.fromisoformat(each["likely"]) for name, each in finish.items()}
    assert at["filling"] - at["without"] == timedelta(minutes=36)
    assert at["whole"] - at["without"] == timedelta(minutes=222)
    assert house.entries == entries  # nothing is saved


def test_a_print_that_is_not_on_the_route_is_supposed_to_go_the_way_of_the_others(house: House):
    revised(house, production(timedelta(days=200), GRADE + 'of = ["A/R01", "A/R02"]\n'))
    told = house.told("lisbon", "late", "B", "--seconds", "0", "--no-pictures")
    at = {name: told["forecast"][name]["finish"]["likely"] for name in ("without", "whole")}
    later = datetime.fromisoformat(at["whole"]) - datetime.fromisoformat(at["without"])
    assert later == timedelta(minutes=222)


def test_what_is_not_known_is_said_and_the_rest_is_told(house: House):
    revised(house, production(timedelta(days=200), MORE))
    told = house.told("lisbon", "late", "C")
    assert (told["reels"][0]["version"], told["reels"][0]["sent"]) == (None, False)
    assert told["cost"]["whole"]["frames"] == 500
    assert told["forecast"] is None
    assert "has no route" in told["no_forecast"]
    assert "no element X" in house.refused("lisbon", "late", "X", ends=3)
    assert "no site paris" in house.refused("lisbon", "late", "B", "--site", "paris", ends=3)
