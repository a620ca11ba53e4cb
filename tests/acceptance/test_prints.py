"""What each print lacks and who has it, as a supervisor asks it: two prints, one map between them."""

from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from relay.ledger.words import VersionInspected
from relay.media.thumbnails import Thumbnails
from relay.model import VersionName, digest_of
from relay.programme.framemap import FrameMap, Match
from relay.settings import Home
from relay.transfer.aligned import say_aligned
from relay.transfer.sender import Sender
from relay.wiring import open_desk
from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.test_conform import frame
from tests.unit.programme.scene import film

FILM = film(40, 7)
OTHER = """
[[element]]
code = "B"
title = "The print from the north"
kind = "duplicate negative"
gauge = "35mm"
base = "acetate"
holder = "Harbour Street Archive"
speed = "18"
generation = "second"

[[element.reel]]
name = "R01"
"""
IN_A = [number for number in range(40) if not 12 <= number <= 17]
IN_B = [number for number in range(40) if not 25 <= number <= 27]


def numbered(of: list[int], first: int) -> dict[int, int]:
    return {shown: first + place for place, shown in enumerate(of)}


@pytest.fixture(scope="module")
def house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    """A leaves room in its numbers for frames 12 to 17, which it lacks; B, numbered from 100 on, lacks 25 to 27."""
    house = House(forker, tmp_path_factory.mktemp("prints"))
    (house.place / "quillmark.toml").write_text(PRODUCTION + OTHER, encoding="utf-8")
    house.create()
    for number in IN_A:
        frame(house.place / "a", number, FILM.grey[number], number)
    for shown, number in numbered(IN_B, 100).items():
        frame(house.place / "b", number, FILM.grey[shown] // 2 + 60, number)
    house.send("halifax", house.place / "a", "A/R01", "--start-mark", "0")
    house.send("halifax", house.place / "b", "B/R01", "--start-mark", "100=100")
    return house


def put_side_by_side(place: Path) -> None:
    a, b = {number: number for number in IN_A}, numbered(IN_B, 100)
    there = {number: Match(b.get(shown), 97, sure=True) for shown, number in a.items()}
    back = {number: Match(a.get(shown), 97, sure=True) for shown, number in b.items()}
    found = FrameMap.built(VersionName("A/R01/v1"), VersionName("B/R01/v1"), there, back)
    with open_desk(Home(folder=place / "lisbon")) as desk:
        desk.ledger.follow()
        assert say_aligned(desk, found) is not None
        assert say_aligned(desk, found) is None  # said once


def test_before_prints_are_put_side_by_side_nothing_is_known(house: House):
    assert "no two prints were put side by side" in house.refused("lisbon", "gaps", ends=3)
    assert "was put beside no other print" in house.refused("lisbon", "fill", "A/R01:12-17", ends=3)


def looked_at(house: House, reel: str, numbers: list[int], cut: int) -> None:
    """Keep thumbnails of a reel as an inspection does: light comes from the left, and from `cut` on from above."""
    aside = np.tile(np.arange(64, dtype=np.uint8) * 3, (48, 1))
    above = np.tile(np.arange(48, dtype=np.uint8)[:, None] * 4, (1, 64))
    kept = Thumbnails(numbers[0], 18)
    kept.grey.update({number: aside if number < cut else above for number in numbers})
    body = kept.stored()
    with open_desk(Home(folder=house.place / "halifax")) as desk:
        version = desk.ledger.follow().version(reel)
        Sender(desk.store, desk.notebook, frozenset()).put(digest_of(body), memoryview(body), "thumbnails")
        seen = {"report": digest_of(b"none"), "blocking": 0, "warning": 0, "thumbnails": digest_of(body)}
        word = VersionInspected(version=version.name, manifest=version.manifest, **seen)
        desk.ledger.append(desk.pen, lambda _state, _now: [word])


@pytest.fixture(scope="module")
def aligned(house: House, tmp_path_factory: pytest.TempPathFactory) -> House:
    beside = house.copied(tmp_path_factory.mktemp("aligned"))
    put_side_by_side(beside.place)
    looked_at(beside, "A/R01", IN_A, 20)
    return beside


def test_each_print_is_told_what_it_lacks_and_who_has_it(aligned: House):
    said = aligned("lisbon", "gaps").out
    assert "A/R01/v1 lacks 6 frames in 1 place, beside B/R01/v1" in said
    assert "B/R01/v1 at 112-117" in said
    assert "B/R01/v1 lacks 3 frames in 1 place" in said
    told = aligned.told("tokyo", "gaps", "B/R01")
    ((gap,),) = [each["gaps"] for each in told["prints"]]
    assert (gap["after"], gap["length"], gap["nowhere"]) == (124, 3, False)
    assert gap["fills"][0]["frames"] == [[25, 27]]


def test_what_a_print_lacks_is_told_by_shot_where_somebody_looked(aligned: House):
    one, other = aligned.told("lisbon", "gaps", "--shots")["prints"]
    assert one["shots"] == [{"shot": 1, "frames": [0, 19], "places": 1, "lacks": 6}]
    assert one["gaps"][0]["shot"] == 1
    assert other["shots"] is None  # nobody looked at B
    assert aligned.told("lisbon", "gaps")["prints"][0]["shots"] is None  # nobody asked
    assert "By shot, of 2:" in aligned("lisbon", "gaps", "A/R01", "--shots").out


def test_who_could_fill_a_range_and_how_good_it_is_there_is_one_question(aligned: House):
    told = aligned.told("lisbon", "fill", "A/R01:10-17")
    assert told["held"] == [[10, 11]]
    (fill,) = told["fills"]
    assert (fill["version"], fill["frames"], fill["sure"]) == ("B/R01/v1", [[110, 117]], True)
    own, other = told["quality"]["A/R01/v1"], told["quality"]["B/R01/v1"]
    assert other["light"] - other["dark"] < own["light"] - own["dark"]  # B was drawn with half the contrast
    said = aligned("lisbon", "fill", "A/R01:10-17").out
    assert "8 of 8 frames, surely (97 %)" in said
    assert "duplicate negative, second" in said
    assert aligned.told("lisbon", "fill", "A/R01:10-17", "--no-pictures")["quality"] == {}


SHOWS_THE_GAP = """
rate = "24"

[[event]]
reel = "A/R01"
first = 10
length = 8
"""


def test_a_list_that_shows_what_one_print_lacks_is_told_which_print_has_it(house: House, aligned: House):
    for each in (house, aligned):
        (each.place / "gap.toml").write_text(SHOWS_THE_GAP, encoding="utf-8")
    told = aligned.told("lisbon", "cut", "check", "gap.toml", ends=2)
    assert [(each["kind"], each["frames"], each["what"]) for each in told["found"]] == [
        ("missing in every version", [12, 17], "no version that was sent holds it"),
        ("another print has it", [12, 17], "B/R01/v1 shows it at 112-117"),
    ]
    before = house.told("lisbon", "cut", "check", "gap.toml", ends=2)
    assert [each["kind"] for each in before["found"]] == ["missing in every version"]  # nothing was put side by side


def test_coverage_is_told_in_letters_and_drawn_for_an_archive(aligned: House):
    told = aligned.told("lisbon", "coverage", "A", "--svg", "cover.svg", "--png", "cover.png")
    (reel,) = told["reels"]
    assert (reel["along"], reel["frames"], reel["nowhere"]) == ("A/R01/v1", [0, 39], [])
    own, other = reel["prints"]
    assert [(each["frames"], each["holding"]) for each in own["stretches"]] == [
        ([0, 11], "held"), ([12, 17], "lacking"), ([18, 39], "held")
    ]  # fmt: skip
    assert [each["frames"] for each in other["stretches"] if each["holding"] == "lacking"] == [[25, 27]]
    svg = (aligned.place / "cover.svg").read_text(encoding="utf-8")
    assert "The Lamp at Quillmark" in svg
    with Image.open(aligned.place / "cover.png") as picture:
        assert picture.format == "PNG"
    assert "in no print none" in aligned("lisbon", "coverage", "B/R01").out
    assert "no reel of C" in aligned.refused("lisbon", "coverage", "C", ends=3)


def test_prints_are_shown_in_step_and_what_one_lacks_is_slated(aligned: House):
    told = aligned.told("lisbon", "beside", "A/R01:10-27", "beside.mov", "B/R01", "--speed", "16")
    assert told["steps"] == 18  # 10 and 11, six that only B has, 18 to 27
    assert told["slated"] == {"A/R01/v1": 6, "B/R01/v1": 3}
    with av.open(str(aligned.place / "beside.mov")) as movie:
        assert movie.streams.video[0].average_rate == 16
        pages = [frame.to_ndarray(format="gray") for frame in movie.decode(video=0)]
    assert len(pages) == 18
    middle = pages[0].shape[1] // 2
    halves = [(page[:, :middle].astype(float), page[:, middle:].astype(float)) for page in pages]
    one, other = halves[0]
    assert np.corrcoef(one.ravel(), other.ravel())[0, 1] > 0.9  # the same frame, in another contrast
    alike = [np.corrcoef(one.ravel(), each.ravel())[0, 1] for _, each in halves[:8]]
    assert alike.index(max(alike)) == 0  # no later frame of the other print is as much like it
    assert np.abs(halves[3][0] - halves[0][0]).mean() > 10  # a slate stands there
    aligned("lisbon", "beside", "A/R01:20", "still.png")
    with Image.open(aligned.place / "still.png") as still:
        assert still.size[0] > 1200
    assert "at most four" in aligned.refused("lisbon", "beside", "A/R01", "x.mov", *["B/R01"] * 4)
    assert "--speed 0" in aligned.refused("lisbon", "beside", "A/R01", "x.mov", "--speed", "0")
    assert "was not put beside" in aligned.refused("lisbon", "beside", "A/R01", "x.mov", "A/R01")


def test_what_is_no_range_of_a_reel_is_refused(aligned: House):
    assert "is no range of one reel" in aligned.refused("lisbon", "fill", "A/R01")
    assert "is no range of frames" in aligned.refused("lisbon", "fill", "A/R01:17-12x")


def test_the_ledger_tells_it_in_a_sentence(aligned: House):
    said = aligned("lisbon", "ledger", "show", "--last", "0").out
    assert "put A/R01/v1 beside B/R01/v1: 31 of 34 frames found, 34 surely" in said
    aligned("tokyo", "ledger", "check")
