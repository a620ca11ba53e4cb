"""`relay conform`, as whoever receives a lab's work uses it."""

from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from relay.programme.cutlist import Shown
from relay.programme.own_form import own_form, parse_own_form
from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.references.damage import titled, written
from tests.unit.programme.scene import A, film

FILM = film(56, 4)
LIST = """
rate = "24"

[[event]]
reel = "A/R01"
first = 4
length = 18
speed = "16"

[[event]]
reel = "A/R01"
first = 40
length = 14
"""
SHOWN = list(parse_own_form(LIST).shown())
ROUTE = """
[[stage]]
name = "scan"
of = ["A/R01"]
inspected = true

[[stage]]
name = "grade"
of = ["Q/R01"]
after = ["scan"]
inspected = false

[[element]]
code = "Q"
title = "The restored film"
kind = "restored programme"
gauge = "35mm"
base = "none"
holder = "Lisbon"
speed = "24"

[[element.reel]]
name = "R01"
"""


def frame(folder: Path, number: int, tones: np.ndarray, position: int) -> None:
    folder.mkdir(exist_ok=True)
    whole = np.repeat((tones.astype(np.uint16) * 257)[..., None], 3, axis=2)
    body = titled(written(folder / "f.dpx", whole), position, 56, 18.0, None, b"")
    (folder / "f.dpx").unlink()
    (folder / f"r.{number:07d}.dpx").write_bytes(body)


def graded(folder: Path, shown: list[Shown], carried: bool = True) -> Path:
    """Lay out what a lab returns: another tone, numbered from 1000 on."""
    for place, each in enumerate(shown):
        tones = np.clip((FILM.grey[each.frame] / 255) ** 1.3 * 230 + 8, 0, 255)
        frame(folder, 1000 + place, tones, each.frame if carried else place)
    return folder


@pytest.fixture(scope="module")
def scanned(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    """A production whose one reel was scanned and looked at where it arrived."""
    house = House(forker, tmp_path_factory.mktemp("scanned"))
    text = PRODUCTION.replace('name = "halifax"\n', 'name = "halifax"\nstages = ["scan"]\n')
    text = text.replace('name = "tokyo"\n', 'name = "tokyo"\nstages = ["grade"]\n')
    (house.place / "quillmark.toml").write_text(text + ROUTE, encoding="utf-8")
    (house.place / "list.toml").write_text(LIST, encoding="utf-8")
    house.create()
    for number in range(56):
        frame(house.place / "scan", 86400 + number, FILM.grey[number], number)
    house("halifax", "claim", "scan/A/R01")
    house.send("halifax", house.place / "scan", "A/R01", "--start-mark", "86400")
    house("tokyo", "fetch", "A/R01", "arrived")
    return house


@pytest.fixture
def house(scanned: House, tmp_path: Path) -> House:
    return scanned.copied(tmp_path)


def test_a_folder_that_lies_as_the_list_says_is_told_to(house: House):
    said = house("lisbon", "conform", graded(house.place / "came", SHOWN), "list.toml").out
    assert "32 frames of 32 places came back; it lies as the list says" in said
    assert "carry the numbers of their source" in said
    assert "32 pictures compared" in said


def test_missing_places_are_named_as_ranges_and_so_are_frames_too_many(house: House):
    folder = graded(house.place / "came", [*SHOWN, SHOWN[-1]])
    for number in (1005, 1006, 1020):
        (folder / f"r.{number:07d}.dpx").unlink()
    said = house("lisbon", "conform", folder, "list.toml", "--start-mark", "1000", "--no-pictures", ends=2)
    assert "missing 5-6, 20; not in the list 32" in said.err
    told = house.told("lisbon", "conform", folder, "list.toml", "--start-mark", "1000", "--no-pictures", ends=2)
    assert (told["missing"], told["extra"], told["compared"]) == ([[5, 6], [20, 20]], [[32, 32]], 0)


def test_a_shot_that_slipped_is_caught_by_its_headers_or_by_its_picture(house: House):
    slipped = [Shown(A, row.frame + 1) if place >= 18 else row for place, row in enumerate(SHOWN)]
    told = house.told("lisbon", "conform", graded(house.place / "came", slipped), "list.toml", "--no-pictures", ends=2)
    (run,) = told["displaced"]
    assert (run["by"], run["places"], run["shows_first"]) == ("number", {"first": 18, "last": 31}, 41)
    told = house.told("lisbon", "conform", graded(house.place / "again", slipped, carried=False), "list.toml", ends=2)
    (run,) = told["displaced"]
    assert (run["by"], run["places"], run["shows_first"]) == ("picture", {"first": 18, "last": 31}, 41)
    assert run["sure"] > 0.9


def test_sources_that_nobody_looked_at_are_looked_at_where_their_copy_lies(house: House):
    house.send("tokyo", house.place / "scan", "A/R02", "--start-mark", "86400")
    (house.place / "other.toml").write_text(LIST.replace("A/R01", "A/R02"), encoding="utf-8")
    slipped = [Shown(A, row.frame + 1) if place >= 18 else row for place, row in enumerate(SHOWN)]
    folder = graded(house.place / "came", slipped, carried=False)
    told = house.told("tokyo", "conform", folder, "other.toml", ends=2)
    assert (told["compared"], told["displaced"][0]["places"]) == (32, {"first": 18, "last": 31})


DISSOLVE = """
rate = "24"

[[event]]
reel = "A/R01"
first = 0
length = 12

[[event]]
reel = "A/R01"
first = 40
length = 14
dissolve = 8
"""


def test_pictures_under_a_dissolve_are_held_against_both_frames(house: House):
    (house.place / "dissolve.toml").write_text(DISSOLVE, encoding="utf-8")
    cut = parse_own_form(DISSOLVE)
    for name, late in (("right", 0), ("late", 5)):
        folder = graded(house.place / name, list(cut.shown()), carried=False)
        for place, gone in cut.going().items():
            one, other = FILM.grey[gone.frame + late].astype(float), FILM.grey[28 + place].astype(float)
            share = (place - 11) / 9
            frame(folder, 1000 + place, np.rint(one * (1 - share) + other * share), place)
    told = house.told("lisbon", "conform", house.place / "right", "dissolve.toml")
    assert (told["compared"], told["mixed"], told["displaced"]) == (26, 8, [])
    said = house("lisbon", "conform", house.place / "late", "dissolve.toml", ends=2).out
    assert "8 pictures of these lie under dissolves" in said
    assert "A/R01 from 17 on, not A/R01 from 12 on" in said
    assert "12-19" in said


def test_what_is_found_of_a_version_is_signed_and_keeps_it_from_being_accepted(house: House):
    house("lisbon", "accept", "scan/A/R01")
    house("tokyo", "claim", "grade/Q/R01")
    folder = graded(house.place / "came", SHOWN)
    (folder / "r.0001007.dpx").unlink()
    house.send("tokyo", folder, "Q/R01", "--start-mark", "1000")
    house("lisbon", "fetch", "Q/R01", "Q_R01")
    assert "missing 7" in house("lisbon", "conform", "Q/R01/v1", "list.toml", "--no-pictures", ends=2).err
    entries = house.entries
    assert house.told("lisbon", "conform", "Q/R01/v1", ends=2)["missing"] == [[7, 7]]
    house("lisbon", "conform", "Q/R01/v1", "list.toml", "--no-pictures", ends=2)
    assert house.entries == entries  # said once
    assert "lies otherwise than its cut list" in house.refused("lisbon", "accept", "grade/Q/R01", "--note", "fine")
    house("lisbon", "accept", "grade/Q/R01", "--note", "place 7 comes on Friday", "--despite")
    assert "held Q/R01/v1 against the cut list" in house("lisbon", "ledger", "show", "--last", "0").out


HELD = """TITLE: cut from a copy at 24 pictures a second of a film at 18
FCM: NON-DROP FRAME
001  A_R01    V     C        01:00:00:08 01:00:01:00 01:00:00:00 01:00:00:16
002  A_R01    V     C        01:00:02:16 01:00:02:20 01:00:00:16 01:00:00:20
"""
# label k of a copy that holds frames shows frame floor(k * 18 / 24): the rule of REFERENCES for repeat patterns
HELD_SHOWS = [Shown(A, label * 18 // 24) for label in (*range(8, 24), *range(64, 68))]


def test_a_list_cut_from_copies_that_hold_frames_is_read_alike_by_every_command(house: House):
    (house.place / "held.edl").write_text(HELD, encoding="utf-8")
    folder = graded(house.place / "came", HELD_SHOWS)
    words = ("conform", folder, "held.edl", "--no-pictures")
    assert house.told("lisbon", *words, "--held")["reading"] == "source"  # every header agrees with the list
    assert house.told("lisbon", *words)["reading"] == "nothing"
    assert house.told("lisbon", "movie", "held.edl", "h.mov", "--lines", "120", "--held")["missing"] == {}
    assert house.told("lisbon", "movie", "held.edl", "n.mov", "--lines", "120")["missing"] == {"A/R01": [[64, 67]]}
    (fate,) = house.told("lisbon", "why", "A/R01:49", "--cut-list", "held.edl", "--held")["in_the_film"]
    assert fate["shown_at"] == [[18, 18]]
    assert "no timecode counts at 18" in house.refused("lisbon", "conform", folder, "held.edl", "--rate", "18")


def test_a_list_that_a_version_was_held_against_is_read_again_as_it_was_meant(house: House):
    (house.place / "held.edl").write_text(HELD, encoding="utf-8")
    house.send("tokyo", graded(house.place / "came", HELD_SHOWS), "Q/R01", "--start-mark", "1000")
    house("lisbon", "conform", "Q/R01/v1", "held.edl", "--held", "--no-pictures")
    (fate,) = house.told("lisbon", "why", "A/R01:49")["in_the_film"]
    assert fate["shown_at"] == [[18, 18]]


@pytest.mark.parametrize(
    ("words", "ends", "said"),
    [
        (("conform", "A/R01/v1", "no.toml"), 3, "there is no file"),
        (("conform", "A/R01/v1", "quillmark.toml"), 2, "is no cut list"),
        (("conform", "A/R01/v1", "list.toml", "--start-mark", "3"), 2, "--start-mark is for a folder"),
        (("conform", "A/R01/v1"), 3, "nobody held A/R01/v1"),
        (("conform", "tokyo", "list.toml"), 2, "no numbered frames"),
    ],
)
def test_what_cannot_be_held_is_refused_with_a_sentence(house: House, words: tuple[str, ...], ends: int, said: str):
    assert said in house.refused("lisbon", *words, ends=ends)


def test_a_list_in_our_own_form_is_read_back_as_it_was_written():
    cut = parse_own_form(LIST)
    assert parse_own_form(own_form(cut)) == cut


def test_the_programme_is_played_from_what_there_is_and_the_rest_is_slated(house: House):
    soundfile.write(house.place / "cue.wav", np.zeros(96_000), 48_000, subtype="PCM_16")
    (house.place / "more.toml").write_text(
        LIST + '\n[[event]]\nreel = "A/R02"\nfirst = 7\nlength = 5\n', encoding="utf-8"
    )
    told = house.told("lisbon", "movie", "more.toml", "m.mov", "--sound", "cue.wav", "--lines", "120")
    assert (told["pictures"], told["slated"], told["missing"]) == (37, 5, {"A/R02": [[7, 11]]})
    with av.open(str(house.place / "m.mov")) as container:
        assert container.streams.video[0].frames == 37
        assert len(container.streams.audio) == 1
    assert "there is no sound" in house.refused("lisbon", "movie", "list.toml", "m.mov", "--sound", "no.wav", ends=3)
