"""Each kind of mistake in a production's file: what is wrong, where by its own name, and nothing is made."""

from pathlib import Path

import pytest

from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House

MISTAKES = [
    ('name = "quillmark"', 'name = "Quill Mark"', "name: expected a name of at most 40 characters a-z, 0-9 and -"),
    ('name = "quillmark"', "", "name is missing"),
    ('name = "quillmark"', 'name = "quillmark', "cannot be read as TOML: Illegal character"),
    ('title = "The Lamp at Quillmark"', 'titel = "The Lamp"', "titel means nothing here; title is missing"),
    ('title = "The Lamp at Quillmark"', 'title = ""', "title: it should have at least 1 character"),
    ('coordinator = "lisbon"', 'coordinator = "porto"', "'porto' is none of the sites: add a [[site]] of that name"),
    (
        'zone = "Europe/Oslo"',
        'zone = "Europe/Olso"',
        "premiere, zone: 'Europe/Olso' is not a time zone: expected an IANA",
    ),
    ("at = 2027-09-18T19:00:00", "at = 2027-09-18T19:00:00Z", "leave the offset out"),
    ("at = 2027-09-18T19:00:00", 'at = "next autumn"', "premiere, at: expected a valid datetime"),
    ('kind = "projection print"', 'kind = "nice print"', "element 'A', kind: expected 'original negative'"),
    ('gauge = "35mm"', 'gauge = "36mm"', "element 'A': '36mm' is not a known gauge: write one of 35mm"),
    ('gauge = "35mm"', "gauge = 35", "element 'A', gauge: expected a valid string (found 35)"),
    ('base = "nitrate"', 'base = "celluloid"', "element 'A', base: expected 'nitrate', 'acetate'"),
    ('speed = "18"', 'speed = "fast"', "element 'A': 'fast' is not a rate: write it like 18, 24000/1001"),
    ('speed = "18"', "speed = 0", "element 'A': '0' is out of range"),
    (
        "frames = 16320",
        "frames = -5",
        "element 'A', reel 'R01', frames: expected greater than or equal to 1 (found -5)",
    ),
    ("frames = 16320", 'frames = "many"', "element 'A', reel 'R01', frames: expected a valid integer"),
    ('name = "R02"', 'name = "r01"', "'r01' stands 2 times"),
    ('name = "R02"', 'name = "R 02"', "element 'A', reel 'R 02', name: expected a code of at most 24 characters"),
    ('name = "tokyo"', 'name = "halifax"', "site 'halifax' stands 2 times"),
    ("[[element]]", "[element]", "element: expected a list; of tables, with two brackets"),
    ("[[element.reel]]", "[[reel]]", "reel means nothing here"),
    ("due_back = 2027-12-01", 'due_back = "soon"', "element 'A', loan, due_back: expected a valid date"),
    ("mends = true", 'mends = "maybe"', "site 'halifax', mends: expected a valid boolean"),
    ("[premiere]", "[[stage]]\nname = 'grade'\nafter = ['scan']\n[premiere]", "comes after 'scan', which is no stage"),
    ("[premiere]", "[[stage]]\nname = 'grade'\nafter = ['grade']\n[premiere]", "the route is a loop"),
    ("[premiere]", "[[site]]\n[premiere]", "site 1, name is missing"),
]


@pytest.fixture
def fresh(forker: Forker, tmp_path: Path) -> House:
    return House(forker, tmp_path)


def refused(house: House, text: bytes) -> str:
    (house.place / "film.toml").write_bytes(text)
    said = house.refused("lisbon", "production", "create", "film.toml", "--store", "store")
    assert said.startswith("relay: film.toml"), "the file is named"
    assert "Put it right, then run this again" in said
    assert len(said) < 450, "a sentence, not a dump of the file"
    assert not (house.place / "lisbon").exists(), "no key was made"
    assert not (house.place / "store").exists(), "no store was founded"
    return said


@pytest.mark.parametrize(("good", "bad", "expected"), MISTAKES, ids=[bad[:30] for _, bad, _ in MISTAKES])
def test_a_mistake_is_named_where_it_stands(fresh: House, good: str, bad: str, expected: str):
    assert good in PRODUCTION
    assert expected in refused(fresh, PRODUCTION.replace(good, bad, 1).encode())


def test_a_file_that_is_not_utf_8_is_refused(fresh: House):
    assert "byte 9 is not UTF-8: save it as UTF-8 text" in refused(fresh, 'title = "é"'.encode("latin-1"))


def test_a_file_that_is_not_there_is_missing(fresh: House):
    said = fresh.refused("lisbon", "production", "create", "nowhere.toml", "--store", "store", ends=3)
    assert "there is no file nowhere.toml" in said


def test_a_folder_is_no_file(fresh: House):
    assert "Is a directory" in fresh.refused("lisbon", "production", "create", ".", "--store", "store")


def test_a_mistake_in_a_revision_changes_nothing(house: House):
    before = house.entries
    (house.place / "film.toml").write_text(PRODUCTION.replace('base = "nitrate"', 'base = "celluloid"'))

    said = house.refused("lisbon", "production", "revise", "film.toml", "--reason", "its base was looked up")
    assert "element 'A', base: expected" in said
    assert house.entries == before
