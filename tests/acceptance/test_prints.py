"""What each print lacks and who has it, as a supervisor asks it: two prints, one map between them."""

import av
import numpy as np
import pytest
from PIL import Image

from relay.media.decay import Decayed
from relay.model import FrameRange
from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.prints import (
    IN_A,
    IN_B,
    OTHER,
    looked_at,
    numbered,
    put_side_by_side,
    say_maps,
    two_prints,
    two_shots,
)


@pytest.fixture(scope="module")
def house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("prints"))
    two_prints(house, PRODUCTION + OTHER)
    return house


def test_before_prints_are_put_side_by_side_nothing_is_known(house: House):
    assert "no two prints were put side by side" in house.refused("lisbon", "gaps", ends=3)
    assert "was put beside no other print" in house.refused("lisbon", "fill", "A/R01:12-17", ends=3)


@pytest.fixture(scope="module")
def aligned(house: House, tmp_path_factory: pytest.TempPathFactory) -> House:
    beside = house.copied(tmp_path_factory.mktemp("aligned"))
    put_side_by_side(beside.place)
    decayed = Decayed(frames=FrameRange(first=3, last=9), share=4.5)
    looked_at(beside, "A/R01", two_shots(IN_A, 20), decay=[decayed])
    return beside


def test_each_print_is_told_what_it_lacks_and_who_has_it(aligned: House):
    said = aligned("lisbon", "gaps").out
    assert "A/R01/v1 lacks 6 frames in 1 place, beside B/R01/v1" in said
    assert "B/R01/v1 at 112-117" in said
    assert "Of the 6, other prints have all surely." in said
    assert "B/R01/v1 lacks 3 frames in 1 place" in said
    told = aligned.told("tokyo", "gaps", "B/R01")
    ((gap,),) = [each["gaps"] for each in told["prints"]]
    assert (gap["after"], gap["length"], gap["nowhere"]) == (124, 3, False)
    assert gap["fills"][0]["frames"] == [[25, 27]]


def test_what_a_print_lacks_is_told_by_shot_where_somebody_looked(aligned: House):
    one, other = aligned.told("lisbon", "gaps", "--shots")["prints"]
    assert one["shots"] == [{"shot": 1, "frames": [0, 19], "places": 1, "lacks": 6, "found": 6, "surely": 6}]
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
    assert "A/R01/v1 has for it: widest range of tones" in " ".join(said.split())
    assert "B/R01/v1 has for it: nearest to the camera (duplicate negative)" in " ".join(said.split())
    assert "Nothing is chosen: `relay decide` says a choice." in said
    assert set(told["arguments"]) == {"A/R01/v1", "B/R01/v1"}
    assert "duplicate negative, second" in said
    assert aligned.told("lisbon", "fill", "A/R01:10-17", "--no-pictures")["quality"] == {}


def test_how_good_each_print_is_can_be_asked_for_every_shot_of_a_reel(aligned: House):
    told = aligned.told("lisbon", "fill", "A/R01", "--shots")["shots"]
    assert [(each["shot"], each["frames"]) for each in told] == [(1, [0, 19]), (2, [20, 39])]
    for each in told:
        assert set(each["quality"]) == set(each["arguments"]) == {"A/R01/v1", "B/R01/v1"}
    said = " ".join(aligned("lisbon", "fill", "A/R01", "--shots", "--no-pictures").out.split())
    assert "Shot 2 of 2, 20-39: A/R01/v1 itself holds 20-39 of 20-39" in said
    assert "name no frames" in aligned.refused("lisbon", "fill", "A/R01:3-4", "--shots")
    assert "nobody looked at B/R01/v1 for cuts" in aligned.refused("lisbon", "fill", "B/R01", "--shots")


def test_what_was_measured_and_drawn_is_kept_in_the_store_with_an_entry_that_says_so(aligned: House):
    kept = aligned.told("tokyo", "fill", "A/R01", "--shot", "1", "--no-pictures", "--keep")
    assert kept["frames"] == [0, 19]
    drawn = aligned.told("tokyo", "coverage", "A", "--keep")
    held = aligned.told("lisbon", "material", "list", "A")["material"]
    assert [(each["name"], each["about"], each["entry"]) for each in held] == [
        ("fill_A_R01_0-19.json", "A/R01", kept["kept"]),
        ("coverage_A.svg", "A", drawn["kept"]),
    ]
    assert aligned.told("tokyo", "fill", "A/R01", "--shot", "1", "--no-pictures", "--keep")["kept"] == kept["kept"]


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
    assert (own["decay"], other["decay"]) == ([{"frames": [3, 9], "percent": 4.5}], None)  # nobody looked at B
    svg = (aligned.place / "cover.svg").read_text(encoding="utf-8")
    assert "The Lamp at Quillmark" in svg
    with Image.open(aligned.place / "cover.png") as picture:
        assert picture.format == "PNG"
    said = aligned("lisbon", "coverage", "B/R01").out
    assert "in no print: none" in said
    assert "A/R01/v1 has decayed at 103-109" in said
    assert "no reel of C" in aligned.refused("lisbon", "coverage", "C", ends=3)


def test_prints_are_shown_in_step_and_what_one_lacks_is_slated(aligned: House):
    told = aligned.told("lisbon", "beside", "A/R01:10-27", "beside.mov", "B/R01", "--speed", "16")
    assert told["steps"] == 18  # 10 and 11, six that only B has, 18 to 27
    assert told["slated"] == {"A/R01/v1": 6, "B/R01/v1": 3}
    with av.open(str(aligned.place / "beside.mov")) as movie:
        assert movie.streams.video[0].average_rate == 16
        pages = [frame.to_ndarray(format="gray")[:715] for frame in movie.decode(video=0)]  # without the letters below
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
    assert "a still as x.png" in aligned.refused("lisbon", "beside", "A/R01", "x.mp4")
    assert "was not put beside" in aligned.refused("lisbon", "beside", "A/R01", "x.mov", "A/R01")


def test_what_is_no_range_of_a_reel_is_refused(aligned: House):
    assert "is no range of one reel" in aligned.refused("lisbon", "fill", "A/R01")
    assert "is no range of frames" in aligned.refused("lisbon", "fill", "A/R01:17-12x")


def test_the_ledger_tells_it_in_a_sentence(aligned: House):
    said = aligned("lisbon", "ledger", "show", "--last", "0").out
    assert "put A/R01/v1 beside B/R01/v1: 31 of 34 frames found, 34 surely" in said
    aligned("tokyo", "ledger", "check")


THIRD = OTHER.replace('code = "B"', 'code = "C"').replace("duplicate negative", "projection print")


def test_where_three_prints_contradict_each_other_every_reader_of_maps_says_that_it_is_not_sure(
    house: House, tmp_path_factory: pytest.TempPathFactory
):
    three = house.copied(tmp_path_factory.mktemp("three"))
    (three.place / "more.toml").write_text(PRODUCTION + OTHER + THIRD, encoding="utf-8")
    three("lisbon", "production", "revise", "more.toml", "--reason", "a print turned up")
    three.send("halifax", three.place / "b", "C/R01", "--start-mark", "100=100")
    put_side_by_side(three.place)
    c = numbered(IN_B, 100)
    say_maps(three.place, ("B/R01/v1", numbered(IN_B, 100)), ("C/R01/v1", c))
    slipped = c | {frame: c[frame + 1] for frame in range(30, 35)}  # said of A alone: there C is a frame late
    say_maps(three.place, ("A/R01/v1", {number: number for number in IN_A}), ("C/R01/v1", slipped))
    (own,) = three.told("lisbon", "gaps", "A/R01")["prints"]
    assert own["disputed"] == [{"prints": ["B/R01/v1", "C/R01/v1"], "frames": [[30, 34]]}]
    said = three("lisbon", "gaps", "A/R01").out
    assert "contradict each other at 30-34: none is sure there" in " ".join(said.split())
    for place, sure in (("A/R01:30-34", False), ("A/R01:5-9", True)):
        fills = three.told("lisbon", "fill", place, "--no-pictures")["fills"]
        assert [each["sure"] for each in fills] == [sure, sure]
    (reel,) = three.told("lisbon", "coverage", "A")["reels"]
    for strip in reel["prints"][1:]:
        assert [30, 34] in [each["frames"] for each in strip["stretches"] if each["holding"] == "not sure"]
    pinned = ("pin", "A/R01:32", "B/R01:123", "--note", "the ferry's bell")
    three("tokyo", *pinned)
    fills = three.told("lisbon", "fill", "A/R01:32-32", "--no-pictures")["fills"]
    assert {each["version"]: each["sure"] for each in fills} == {"B/R01/v1": True, "C/R01/v1": False}


def test_prints_that_share_nothing_are_said_to(house: House, tmp_path_factory: pytest.TempPathFactory):
    apart = house.copied(tmp_path_factory.mktemp("apart"))
    others = {1000 + shown: number for shown, number in numbered(IN_B, 100).items()}
    say_maps(apart.place, ("A/R01/v1", {number: number for number in IN_A}), ("B/R01/v1", others))
    assert "A/R01/v1 shares nothing with B/R01/v1 that was found" in apart("lisbon", "gaps").out
    said = apart("lisbon", "coverage", "A").out.splitlines()
    letters = next(line for line in said if line.startswith("B/R01/v1")).split("%")[1].strip()
    assert len(letters) == 60
    assert "█" not in letters  # nor at the edge of a stretch, in a reel that is shorter than the line


RESTORED = """
[[element]]
code = "Q"
title = "The restored film"
kind = "restored programme"
gauge = "35mm"
base = "none"
holder = "Lisbon"
speed = "18"

[[element.reel]]
name = "R01"
"""


def test_prints_that_nobody_put_side_by_side_are_known_by_way_of_others_and_the_restored_film_fills_no_gap(
    house: House, tmp_path_factory: pytest.TempPathFactory
):
    away = house.copied(tmp_path_factory.mktemp("by_way"))
    (away.place / "more.toml").write_text(PRODUCTION + OTHER + THIRD + RESTORED, encoding="utf-8")
    away("lisbon", "production", "revise", "more.toml", "--reason", "a print turned up")
    for folder, reel in (("a", "Q/R01"), ("b", "C/R01")):
        away.send("halifax", away.place / folder, reel, "--start-mark", {"a": "0", "b": "100=100"}[folder])
    b, c = ("B/R01/v1", numbered(IN_B, 100)), ("C/R01/v1", numbered(IN_B, 100))
    put_side_by_side(away.place)
    say_maps(away.place, b, c)
    say_maps(away.place, ("A/R01/v1", {number: number for number in IN_A}), ("Q/R01/v1", dict(enumerate(range(40)))))
    (own,) = away.told("lisbon", "gaps", "A/R01")["prints"]
    assert (own["beside"], own["by_way_of"]) == (["B/R01/v1", "C/R01/v1"], {"C/R01/v1": ["B/R01/v1"]})
    assert {each["version"] for each in own["gaps"][0]["fills"]} == {"B/R01/v1", "C/R01/v1"}
    told = away.told("lisbon", "fill", "A/R01:10-17", "--no-pictures")["fills"]
    assert [(each["version"], each["by_way_of"]) for each in told] == [("B/R01/v1", []), ("C/R01/v1", ["B/R01/v1"])]
    (reel,) = away.told("lisbon", "coverage", "A")["reels"]
    unknown = [each["frames"] for each in reel["prints"][2]["stretches"] if each["holding"] == "not known"]
    assert unknown == [[25, 27]]  # B lacks them: of C nobody knows
    assert "C/R01/v1 (by way of B/R01/v1)" in away("lisbon", "gaps", "A/R01").out
    assert "A/R01/v1" in away.told("lisbon", "gaps", "Q/R01")["prints"][0]["beside"]
    assert away.told("lisbon", "beside", "A/R01/v1:20", "q.png", "Q/R01")["prints"] == ["A/R01/v1", "Q/R01/v1"]
    told = away.told("lisbon", "beside", "A/R01:20-29", "four.mov", "B/R01", "C/R01", "Q/R01", "--speed", "18")
    assert (told["steps"], [*told["slated"].values()]) == (10, [0, 3, 3, 0])
    with av.open(str(away.place / "four.mov")) as movie:
        assert movie.streams.video[0].average_rate == 18
        assert len([*movie.decode(video=0)]) == 10
    assert "Q is the restored film, made of the prints" in away.refused("lisbon", "late", "Q")
    untrue = away.refused("lisbon", "beside", "A/R01/v1:10-19", "q.mov", "Q/R01")  # its map speaks of what is not in it
    assert "frame 12 of Q/R01 is to be shown, and its version does not hold it" in untrue
