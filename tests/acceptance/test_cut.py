"""`relay cut`, from the editor's list to the frames that it needs."""

import json
from pathlib import Path

import pytest

from relay.programme.cutlist import CutList
from relay.programme.reading import parse_list
from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House, contents, picture

EDL = """TITLE: reel 1
FCM: NON-DROP FRAME
001  A_R01    V     C        01:00:00:10 01:00:00:22 01:00:00:00 01:00:00:18
M2   A_R01          016.0                01:00:00:10
002  A_R01    V     C        01:00:01:06 01:00:01:12 01:00:00:18 01:00:01:00
"""
ROUTE = """
[[stage]]
name = "scan"
of = ["A/R01"]

[[stage]]
name = "grade"
after = ["scan"]
rate = 1200
"""


@pytest.fixture(scope="module")
def scanned(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    """A production with forty frames of one reel, of which numbers 31 to 33 lack."""
    house = House(forker, tmp_path_factory.mktemp("cut"))
    text = PRODUCTION.replace('coordinator = "lisbon"\n', 'coordinator = "lisbon"\ncurrency = "EUR"\n', 1)
    text = text.replace('name = "tokyo"\n', 'name = "tokyo"\nstages = ["grade"]\nprices = { grade = "0.35" }\n')
    text = text.replace('name = "halifax"\n', 'name = "halifax"\nstages = ["scan"]\n')
    (house.place / "quillmark.toml").write_text(text + ROUTE, encoding="utf-8")
    (house.place / "reel-1.edl").write_text(EDL, encoding="utf-8")
    house.create()
    folder = house.scan("scan", count=40)
    for number in (31, 32, 33):
        (folder / f"a_r01.{86400 + number:07d}.dpx").unlink()
    house("halifax", "claim", "scan/A/R01")
    house.send("halifax", folder, "A/R01", "--start-mark", "86400")
    house("tokyo", "sweep", "--folder", "reels", "--settle", "0")
    house("lisbon", "accept", "scan/A/R01", "--note", "drawn for this test", "--despite")
    return house


@pytest.fixture
def house(scanned: House, tmp_path: Path) -> House:
    return scanned.copied(tmp_path)


def test_a_list_that_names_a_frame_that_is_not_there_is_told_with_its_line(house: House):
    said = house("tokyo", "cut", "check", "reel-1.edl", ends=2)
    assert "2 events, 24 frames at 24 a second" in said.out
    assert "the first in line 5, missing in every version: A/R01 31-33" in said.err
    facts = house.told("tokyo", "cut", "check", "reel-1.edl", ends=2)
    assert [(each["kind"], each["event"], each["frames"]) for each in facts["found"]] == [
        ("missing in every version", 2, [31, 33])
    ]


def test_a_list_whose_frames_are_all_there_is_right(house: House):
    (house.place / "good.edl").write_text(EDL.replace("01:00:01:06 01:00:01:12", "01:00:00:00 01:00:00:06"))
    assert "no hole, no overlap, nothing twice" in house("tokyo", "cut", "check", "good.edl").out


def test_what_a_list_needs_is_told_with_bytes_hours_and_cost(house: House):
    words = ("cut", "pull", "reel-1.edl", "--handles", "2", "--near", "3", "--at", "grade@tokyo")
    facts = house.told("tokyo", *words, "--csv", "pull.csv", "--edl", "pulls")
    (reel,) = facts["reels"]
    assert (reel["ranges"], reel["lacking"]) == ([[8, 23], [28, 30], [34, 37]], [[31, 33]])
    assert (reel["frames"], reel["bytes"], reel["cost"]) == (
        23,
        sum(len(picture(n)) for n in [*range(8, 24), 28, 29, 30, *range(34, 38)]),
        "8.05",
    )
    assert reel["hours"] == pytest.approx(23 / 1200)
    assert (house.place / "pull.csv").read_text().splitlines()[1] == "A/R01,A/R01/v1,8,23,16"
    again = parse_list((house.place / "pulls" / "A_R01.edl").read_text())
    assert [(each.first, each.length) for each in again.events] == [(8, 16), (28, 3), (34, 4)]
    assert "8.05" in house("tokyo", *words).out


def test_just_the_frames_that_a_list_needs_come_over_and_are_verified(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    facts = house.told("lisbon", "cut", "fetch", "short.edl", "pulled", "--handles", "1")
    numbers = range(9, 23)
    came = contents(house.place / "pulled")
    assert came == {f"A_R01_v1/a_r01.{86400 + n:07d}.dpx": picture(n) for n in numbers}
    assert facts["fetched_bytes"] == sum(map(len, came.values())) == facts["bytes"]
    assert house.told("lisbon", "cut", "fetch", "short.edl", "pulled", "--handles", "1")["fetched_bytes"] == 0
    at_tokyo = house.told(
        "tokyo", "cut", "fetch", "short.edl", "there", "--handles", "1"
    )  # which has the whole version
    assert (at_tokyo["fetched_bytes"], contents(house.place / "there")) == (0, came)


def test_a_bad_frame_in_the_store_never_appears_under_its_folder(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    (bad,) = [
        path for path in (house.place / "store").rglob("*") if path.is_file() and path.read_bytes() == picture(12)
    ]
    bad.chmod(0o644)
    bad.write_bytes(b"x" + picture(12)[1:])
    assert "1 frame did not come whole" in house("lisbon", "cut", "fetch", "short.edl", "pulled", ends=4).err
    assert not (house.place / "pulled" / "A_R01_v1").exists()


def test_for_a_recut_only_what_the_earlier_pull_lacks_comes_over_and_what_was_spoilt_there(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    later = (house.place / "short.edl").read_text().replace("01:00:00:10", "01:00:00:13")
    (house.place / "again.edl").write_text(later.replace("01:00:00:22", "01:00:01:01"))
    house("lisbon", "cut", "fetch", "short.edl", "pulled", "--handles", "0")
    spoilt = house.place / "pulled" / "A_R01_v1" / "a_r01.0086415.dpx"
    spoilt.chmod(0o644)
    spoilt.write_bytes(b"x" + picture(15)[1:])
    facts = house.told("lisbon", "cut", "fetch", "again.edl", "more", "--handles", "0", "--have", "pulled")
    assert contents(house.place / "more") == {f"A_R01_v1/a_r01.{86400 + n:07d}.dpx": picture(n) for n in range(13, 25)}
    assert facts["fetched_bytes"] == sum(len(picture(n)) for n in (15, 22, 23, 24))
    assert "came over the line" in house("lisbon", "cut", "fetch", "again.edl", "more", "--handles", "0").out


def test_a_pull_with_a_frame_missing_is_refused(house: House):
    assert "A/R01 lacks 31-33" in house.refused("tokyo", "cut", "fetch", "reel-1.edl", "pulled")


def test_a_recut_tells_what_to_fetch_to_process_and_to_drop(house: House):
    (house.place / "again.edl").write_text(EDL.replace("01:00:01:06 01:00:01:12", "01:00:00:02 01:00:00:08"))
    facts = house.told("tokyo", "cut", "differ", "reel-1.edl", "again.edl", "--handles", "1", "--near", "0")
    assert facts["reels"] == [{"reel": "A/R01", "fetch": [[1, 8]], "process": [[2, 7]], "drop": [[30, 35]]}]
    assert (facts["kept"], facts["anew"]) == (12, [[18, 23]])


@pytest.mark.parametrize("form", ["edl", "otio", "toml"])
def test_a_list_is_written_in_each_form_and_means_the_same(house: House, form: str):
    house("tokyo", "cut", "write", "reel-1.edl", f"again.{form}")

    def shown(name: str) -> CutList:
        return list(parse_list((house.place / name).read_text()).shown())

    assert shown(f"again.{form}") == shown("reel-1.edl")
    assert "exists" in house.refused("tokyo", "cut", "write", "reel-1.edl", f"again.{form}")


def test_a_list_that_was_kept_about_a_reel_is_used_by_the_reels_name(house: House):
    house("lisbon", "material", "keep", "reel-1.edl", "A/R02", "--note", "the editor's first")
    assert json.loads(house("tokyo", "cut", "pull", "A/R02", "--json").out)["reels"][0]["reel"] == "A/R01"


def test_a_pull_is_the_input_of_a_job_and_just_its_frames_go_to_whoever_takes_it(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    words = ("cut", "ask", "grade", "A/R02", "short.edl", "--handles", "1", "--reason", "the first cut")
    told = house.told("lisbon", *words, "--prefers", "tokyo")
    assert (told["inputs"], told["frames"], told["from"]) == (["A/R02/v1"], 14, ["A/R01/v1"])
    entries = house.entries
    assert house.told("lisbon", *words)["job"] == told["job"]
    assert house.entries == entries  # said once
    house("tokyo", "claim", str(told["job"]))
    house("tokyo", "sweep", "--folder", "reels", "--settle", "0")
    (arrived,) = [path for path in (house.place / "reels" / "arrived").iterdir() if "A_R02" in path.name]
    came = contents(arrived)
    listed = came.pop("cut-list.toml")
    assert came == {f"A_R01_v1/a_r01.{86400 + n:07d}.dpx": picture(n) for n in range(9, 23)}
    assert parse_list(listed.decode()).needed() == parse_list("\n".join(EDL.splitlines()[:4])).needed()
    assert "tokyo received whole" in house("lisbon", "reel", "show", "A/R02").out


def test_nobody_but_who_may_ask_makes_a_pull_a_jobs_input_and_nothing_is_left_of_the_try(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    before = house.entries
    words = ("cut", "ask", "grade", "A/R02", "short.edl", "--reason", "mine")
    assert "may not ask for more work" in house.refused("tokyo", *words)
    assert "lacks 31-33" in house.refused("lisbon", "cut", "ask", "grade", "A/R02", "reel-1.edl", "--reason", "x")
    assert house.entries == before


def test_a_pull_whose_frames_the_store_lost_is_asked_of_nobody(house: House):
    (house.place / "short.edl").write_text("\n".join(EDL.splitlines()[:4]))
    (lost,) = [
        path for path in (house.place / "store").rglob("*") if path.is_file() and path.read_bytes() == picture(12)
    ]
    lost.unlink()
    words = ("cut", "ask", "grade", "A/R02", "short.edl", "--reason", "the first cut")
    assert f"holds nothing, expected {len(picture(12))} bytes of A/R01/v1" in house.refused("lisbon", *words, ends=4)


@pytest.mark.parametrize(
    ("words", "ends", "said"),
    [
        (("check", "no.edl"), 3, "there is no file no.edl"),
        (("check", "quillmark.toml"), 2, "line"),
        (("check", "A/R01"), 3, "no cut list is kept about A/R01"),
        (("check", "reel-1.edl", "--rate", "18"), 2, "no timecode counts at 18"),
        (("pull", "reel-1.edl", "--at", "grade@halifax"), 2, "names no stage that a site does"),
        (("write", "reel-1.edl", "x.xml"), 2, "says no form"),
        (("fetch", "reel-1.edl", "x", "--have", "no"), 3, "there is no folder no"),
    ],
)
def test_what_cannot_be_done_with_a_list_is_said_in_a_sentence(
    house: House, words: tuple[str, ...], ends: int, said: str
):
    assert said in house.refused("tokyo", "cut", *words, ends=ends)
