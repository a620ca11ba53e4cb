"""Comparison copies as people ask for them and the coordinator's worker makes them: prints in step, in the store."""

import av
import numpy as np
import pytest
from PIL import Image

from relay.model import digest_of
from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.prints import IN_A, OTHER, looked_at, put_side_by_side, two_prints, two_shots

PROGRAMME = """
rate = "24"

[[event]]
reel = "A/R01"
first = 10
length = 2
speed = "24"

[[event]]
reel = "B/R01"
first = 112
length = 6
speed = "24"

[[event]]
reel = "A/R01"
first = 18
length = 3
speed = "24"
"""
"""The ferry as the editor has it: what A lacks is taken from B."""


@pytest.fixture(scope="module")
def house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("comparison"))
    two_prints(house, PRODUCTION + OTHER)
    put_side_by_side(house.place)
    looked_at(house, "A/R01", two_shots(IN_A, 8))
    (house.place / "reel.toml").write_text(PROGRAMME, encoding="utf-8")
    return house


def pages(house: House, name: str) -> list[np.ndarray]:
    with av.open(str(house.place / name)) as movie:
        return [frame.to_ndarray(format="gray") for frame in movie.decode(video=0)]


def test_what_is_asked_for_is_made_once_by_the_coordinators_worker_and_fetched_by_anybody(house: House):
    asked = house.told("tokyo", "comparison", "ask", "A/R01", "--shot", "1", "--speed", "16", "--note", "the ferry")
    assert (asked["prints"], asked["frames"]) == (["A/R01/v1", "B/R01/v1"], {"first": 0, "last": 7})
    entry = str(asked["entry"])
    again = house.told("tokyo", "comparison", "ask", "A/R01", "--shot", "1", "--speed", "16", "--note", "once more")
    assert again["entry"] == asked["entry"]
    assert "was not made yet" in house.refused("halifax", "comparison", "get", entry, "x.mov", ends=3)
    still = house.told("tokyo", "comparison", "ask", "A/R01:20", "B/R01", "--still")
    programme = house.told("lisbon", "comparison", "ask", "reel.toml")
    assert programme["elements"] == ["A", "B"]
    house("halifax", "sweep", "--folder", house.place / "halifax_site")
    assert all(each["made"] is None for each in house.told("halifax", "comparison", "list")["comparisons"])
    house("lisbon", "sweep", "--folder", house.place / "lisbon_site")
    made = house.told("halifax", "comparison", "list")["comparisons"]
    assert [each["made"]["steps"] for each in made] == [8, 1, 11]
    assert {tuple(each["made"]["shown"]) for each in made} == {("A/R01/v1", "B/R01/v1")}
    for each, name in ((asked, "shot.mov"), (still, "still.png"), (programme, "programme.mov")):
        house("halifax", "comparison", "get", str(each["entry"]), name)
    assert len(pages(house, "shot.mov")) == 8
    shown = [page[:715] for page in pages(house, "programme.mov")]  # without the letters below
    assert len(shown) == 11
    middle = shown[0].shape[1] // 2
    assert np.abs(shown[4][:, :middle].astype(float) - shown[0][:, :middle]).mean() > 10  # A lacks it: a slate
    assert np.corrcoef(shown[9][:, :middle].ravel(), shown[9][:, middle:].ravel())[0, 1] > 0.9
    with av.open(str(house.place / "shot.mov")) as movie:
        assert movie.streams.video[0].average_rate == 16
    with Image.open(house.place / "still.png") as picture:
        assert picture.size[0] > 1200
    assert "A/R01/v1 beside B/R01/v1, frames 0-7 (the ferry)" in house("halifax", "comparison", "list").out
    house("halifax", "ledger", "check")
    for name, steps, slates in (("along.mov", 11, 6), ("along.png", 1, 0)):
        told = house.told("lisbon", "beside", "reel.toml", name, "--speed", "24")
        assert (told["steps"], told["slated"]) == (steps, {"A/R01/v1": slates, "B/R01/v1": 0})


REFUSED = [
    ("ask A/R01 --shot 9", 2, "has 2 shots"),
    ("ask A/R01:3-4 --shot 1", 2, "name one of them"),
    ("ask B/R01 --shot 1", 2, "nobody looked at B/R01/v1 for cuts"),
    ("ask A/R02", 3, "has no version"),
    ("ask reel.toml A", 2, "expected two to four"),
    ("ask reel.toml A X", 2, "the list shows B/R01"),
    ("get 1 x.mov", 3, "asks for no comparison copy"),
]


def test_what_cannot_be_shown_is_refused_before_anything_is_said(house: House):
    before = house.entries
    for line, ends, why in REFUSED:
        assert why in house.refused("lisbon", "comparison", *line.split(), ends=ends)
    assert house.entries == before


def spoiled(house: House, digest: str) -> None:
    place = house.place / "store" / "by-digest" / digest[:2] / digest
    place.chmod(0o644)
    place.write_bytes(place.read_bytes()[:-1] + b"?")


def test_bad_bytes_are_given_to_nobody_and_what_cannot_be_made_is_said_once_with_why(
    house: House, tmp_path_factory: pytest.TempPathFactory
):
    house = house.copied(tmp_path_factory.mktemp("spoiled"))
    asked = str(house.told("tokyo", "comparison", "ask", "A/R01:30-31", "B/R01")["entry"])
    house("lisbon", "sweep", "--folder", house.place / "lisbon_site")
    house.told("halifax", "comparison", "get", asked, "good.mov")
    spoiled(house, digest_of((house.place / "good.mov").read_bytes()))
    assert "wrong bytes" in house.refused("halifax", "comparison", "get", asked, "bad.mov", ends=4)
    assert [path.name for path in house.place.glob("*bad.mov*")] == []
    frame = max((house.place / "b").iterdir())
    spoiled(house, digest_of(frame.read_bytes()))
    asked = house.told("tokyo", "comparison", "ask", "A/R01:39", "B/R01", "--still")
    house("lisbon", "sweep", "--folder", house.place / "lisbon_site")
    entries = house.entries
    house("lisbon", "sweep", "--folder", house.place / "lisbon_site")
    assert house.entries == entries
    (last,) = [
        each for each in house.told("tokyo", "comparison", "list")["comparisons"] if each["entry"] == asked["entry"]
    ]
    assert "relay mend B/R01/v1" in last["not_made"]
    assert house.told("tokyo", "comparison", "ask", "A/R01:39", "B/R01", "--still")["entry"] > asked["entry"]
