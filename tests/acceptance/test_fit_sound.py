"""`relay fit-sound`, as whoever sets a reel to its music uses it."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from relay.model import VersionName
from relay.programme.framemap import FrameMap, Match, stored_map
from tests.acceptance.house import House

PLAN = """
sound = "score.wav"

[[scene]]
name = "the letter"
frames = 180
speed = "18"
until = "10"

[[scene]]
name = "the ferry"
reel = "A/R02"
first = 180
last = 377
speed = "18"
until = "0:20.5"

[[scene]]
name = "the storm"
frames = 200
speed = "18 (archive)"
"""


@pytest.fixture
def plan(house: House) -> Path:
    soundfile.write(house.place / "score.wav", np.zeros(48_000 * 63 // 2), 48_000, subtype="PCM_16")
    path = house.place / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_a_scene_that_is_too_long_is_named_with_the_speeds_that_would_fit(house: House, plan: Path):
    said = house("lisbon", "fit-sound", plan, "--svg", "parts.svg", ends=2)
    assert "part from 0:10.917 on" in said.err
    assert "+12.0 frames" in said.out
    assert "2,1,1" in said.out or "1,2,1" in said.out
    assert "█" in said.out
    assert (house.place / "parts.svg").read_text(encoding="utf-8").startswith("<?xml")
    told = house.told("lisbon", "fit-sound", plan, ends=2)
    ferry = told["stretches"][1]
    assert Fraction(ferry["off"]) == 12
    assert (
        Fraction(ferry["from"]) <= Fraction(ferry["exact"]) == Fraction(198) / Fraction("10.5") <= Fraction(ferry["to"])
    )
    assert sum(told["scenes"][1]["repeats"]) == told["scenes"][1]["length"] == 264


def test_at_a_speed_that_fits_picture_and_sound_are_in_step(house: House, plan: Path):
    speed = house.told("lisbon", "fit-sound", plan, ends=2)["stretches"][1]["simplest"]
    plan.write_text(PLAN.replace('last = 377\nspeed = "18"', f'last = 377\nspeed = "{speed}"'), encoding="utf-8")
    told = house.told("lisbon", "fit-sound", plan)
    assert told["parts_at"] is None


def test_the_sound_may_lie_in_a_version(house: House, plan: Path):
    folder = house.scan("A_R02", count=3)
    (house.place / "score.wav").rename(folder / "score.wav")
    house.send("lisbon", folder, "A/R02")
    told = house.told("lisbon", "fit-sound", plan, "--sound", "A/R02/v1", ends=2)
    assert told["sound_seconds"] == "63/2"
    assert "there is no sound" in house.refused("lisbon", "fit-sound", plan, ends=3)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('speed = "18 (archive)"', 'speed = "25"', "expected 14 to 24"),
        ("frames = 180\n", "", "needs `frames`"),
        ('until = "10"', 'until = "1:99"', "not a running time"),
        ('until = "10"', 'until = "31.6"', "the sound's end"),
        ('sound = "score.wav"', "", "names no sound"),
        ("[[scene]]", "[[scene", "no plan of scenes"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_with_a_sentence(house: House, plan: Path, before: str, after: str, said: str):
    plan.write_text(PLAN.replace(before, after, 1), encoding="utf-8")
    assert said in house.refused("lisbon", "fit-sound", plan)


def test_a_guide_print_gives_the_lengths_and_a_cut_list_its_own(house: House, plan: Path):
    there = {frame: Match(frame + (12 if frame >= 200 else 0), 99, sure=True) for frame in range(400)}
    found = FrameMap.built(VersionName("A/R02/v1"), VersionName("C/R02/v1"), there)
    (house.place / "guide.json").write_bytes(stored_map(found))
    told = house.told("lisbon", "fit-sound", plan, "--guide", "guide.json", ends=2)
    assert told["scenes"][1]["frames"] == 210
    assert "is no frame map" in house.refused("lisbon", "fit-sound", plan, "--guide", plan)
    (house.place / "list.toml").write_text(
        'rate = "24"\n[[event]]\nreel = "A/R01"\nfirst = 0\nlength = 756\nspeed = "18"\n', encoding="utf-8"
    )
    told = house.told("lisbon", "fit-sound", "list.toml", "--sound", "score.wav")
    assert (told["scenes"][0]["frames"], told["parts_at"]) == (567, None)
