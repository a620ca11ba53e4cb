"""Stills and papers, as people keep and find them: about an element, a reel, or a place on it."""

import hashlib
from pathlib import Path

import pytest

from tests.acceptance.house import House


@pytest.fixture
def label(house: House) -> Path:
    place = house.place / "can_label.jpg"
    place.write_bytes(b"a photograph of the can's label")
    return place


def test_a_still_is_kept_by_one_site_and_found_by_another(house: House, label: Path):
    house("halifax", "material", "keep", label, "A", "--note", "the date is the archive's")
    report = house.place / "report.pdf"
    report.write_bytes(b"the print's inspection report")
    house("tokyo", "material", "keep", report, "A/R01", "--frames", "120-140")
    said = house.told("lisbon", "material", "list")["material"]
    assert [(each["name"], each["about"], each["frames"], each["by"]) for each in said] == [
        ("can_label.jpg", "A", [], "halifax"),
        ("report.pdf", "A/R01", [[120, 140]], "tokyo"),
    ]
    assert said[0]["sha256"] == hashlib.sha256(label.read_bytes()).hexdigest()
    assert "the date is the archive's" in house("lisbon", "material", "list", "A").out
    assert len(house.told("lisbon", "material", "list", "A")["material"]) == 2  # an element's own and its reels'
    assert len(house.told("lisbon", "material", "list", "A/R01")["material"]) == 1
    (house.place / "out").mkdir()
    house("tokyo", "material", "get", "can_label.jpg", "out")
    assert (house.place / "out" / "can_label.jpg").read_bytes() == label.read_bytes()
    assert "exists: name another folder" in house.refused("tokyo", "material", "get", "can_label.jpg", "out")


def test_the_same_still_about_the_same_thing_is_kept_once(house: House, label: Path):
    first = house.told("halifax", "material", "keep", label, "A")
    entries = house.entries
    assert house.told("halifax", "material", "keep", label, "A")["entry"] == first["entry"]
    assert house.entries == entries


def test_what_it_is_about_must_exist(house: House, label: Path):
    assert "Z is no element and no reel" in house.refused("halifax", "material", "keep", label, "Z")
    assert "name the reel" in house.refused("halifax", "material", "keep", label, "A", "--frames", "3")
    assert "is not a file" in house.refused("halifax", "material", "keep", "nowhere.jpg", "A", ends=3)
    assert "no still or paper is called" in house.refused("halifax", "material", "get", "nowhere", ".", ends=3)


def test_a_still_that_went_bad_in_the_store_is_not_given_out(house: House, label: Path):
    digest = house.told("halifax", "material", "keep", label, "A")["sha256"]
    (stored,) = (house.place / "store" / "by-digest").rglob(digest)
    stored.chmod(0o644)
    stored.write_bytes(b"a photograph of another label..")
    assert "holds wrong bytes" in house.refused("tokyo", "material", "get", "can_label.jpg", ".", ends=4)
