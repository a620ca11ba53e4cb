"""`relay inspect`, as a person uses it: before a folder is sent."""

from pathlib import Path

import numpy as np
import pytest

from tests.acceptance.command import REPO, Forker
from tests.acceptance.house import PRODUCTION, House
from tests.references.damage import FIRST, titled, written

GRAIN = np.random.default_rng(7)


@pytest.fixture
def reel(tmp_path: Path) -> Path:
    folder = tmp_path / "A_R01"
    (folder / "frames").mkdir(parents=True)
    for at in range(12):
        picture = GRAIN.integers(8000, 60000, (30, 40, 3), dtype=np.uint16)
        body = titled(written(tmp_path / "f.dpx", picture), at, 12, 18.0, 400 + 4 * at, b"123456")
        (folder / "frames" / f"A_R01.{FIRST + at:07d}.dpx").write_bytes(body)
    (folder / "notes.txt").write_text("splice at 6")
    return folder


def test_a_good_folder_is_told_to_be_good(house: House, reel: Path):
    said = house("halifax", "inspect", reel).out
    assert "12 frames, 86400 to 86411: 40x30, 3 channels of 10 bits, printing density, 18 frames a second" in said
    assert "nothing found" in said


def test_what_blocks_ends_with_code_2_and_names_the_frames(house: House, reel: Path):
    (reel / "frames" / f"A_R01.{FIRST + 5:07d}.dpx").unlink()
    bad = reel / "frames" / f"A_R01.{FIRST + 8:07d}.dpx"
    bad.write_bytes(bad.read_bytes()[:3000])
    said = house("halifax", "inspect", reel, "--json", ends=2)
    assert said.facts["blocking"] == 2
    found = {each["kind"]: each["frames"] for each in said.facts["findings"]}
    assert found["gap"] == [{"first": FIRST + 5, "last": FIRST + 5}]
    assert found["truncated"] == [{"first": FIRST + 8, "last": FIRST + 8}]
    assert "2 findings that block acceptance" in said.err
    assert "truncated" in house("halifax", "inspect", reel, ends=2).out


def lacks_ten_from_six(reel: Path) -> None:
    """Let the edge code jump by ten frames, four perforations each, at the sixth."""
    for at in range(6, 12):
        place = reel / "frames" / f"A_R01.{FIRST + at:07d}.dpx"
        place.write_bytes(titled(place.read_bytes(), at, 12, 18.0, 400 + 4 * (at + 10), b"123456"))


def test_a_gap_in_the_edge_code_becomes_a_gap_on_the_reel(house: House, reel: Path):
    lacks_ten_from_six(reel)
    said = house.told("halifax", "inspect", reel, "--reel", "A/R01", "--scan-map", "map.toml")
    kinds = {each["kind"]: each for each in said["findings"]}
    assert kinds["gap in the edge code"]["lacking"] == 10
    assert kinds["length"]["grade"] == "warns"  # 12 frames of the 16,320 that the can says
    sent = house.send("halifax", reel, "A/R01", "--scan-map", "map.toml")
    assert sent["frames"] == [[0, 5], [16, 21]]


@pytest.mark.parametrize("looking", [(), ("--inspect",)])
def test_whatever_is_sent_keeps_the_gaps_of_its_edge_code(house: House, reel: Path, looking: tuple[str, ...]):
    lacks_ten_from_six(reel)
    sent = house.send("halifax", reel, "A/R01", *looking, "--start-mark", f"{FIRST + 2}")
    assert (sent["frames"], sent["lacking_by_edge_code"]) == ([[-2, 3], [14, 19]], 10)
    again = house.send("halifax", reel, "A/R01", *looking)
    assert (again["new"], again["frames"]) == (False, sent["frames"])
    said = house("halifax", "send", reel, "A/R02", "--at-once").out  # whose bytes the store has, and no map ties
    assert "By its edge code the film lacks 10 frames: gaps on the reel keep their place." in said


def test_a_scan_map_by_hand_stands_against_the_edge_code(house: House, reel: Path):
    lacks_ten_from_six(reel)
    by_hand = f"[[segments]]\nscan = {FIRST}\nreel = 0\ncount = 6\n[[segments]]\nscan = {FIRST + 6}\nreel = 9\n"
    (house.place / "map.toml").write_text(by_hand, encoding="utf-8")
    sent = house.send("halifax", reel, "A/R01", "--inspect", "--scan-map", "map.toml")
    assert sent["frames"] == [[0, 5], [9, 14]]


def test_numbers_that_an_earlier_version_tied_stay_tied(house: House, reel: Path):
    house.send("halifax", reel, "A/R01")
    lacks_ten_from_six(reel)
    assert house.send("halifax", reel, "A/R01", "--inspect")["frames"] == [[0, 11]]


def test_no_scan_map_is_written_where_the_edge_code_has_no_gap(house: House, reel: Path):
    assert "shows no gap" in house.refused("halifax", "inspect", reel, "--reel", "A/R01", "--scan-map", "map.toml")
    assert not (house.place / "map.toml").exists()


def test_rules_of_ones_own_say_what_blocks(house: House, reel: Path):
    (reel / "frames" / f"A_R01.{FIRST + 5:07d}.dpx").unlink()
    usual = (REPO / "relay" / "media" / "rules.toml").read_text(encoding="utf-8")
    own = house.place / "halifax" / "inspection.toml"
    own.write_text(usual.replace('"gap" = "blocks"', '"gap" = "warns"'), encoding="utf-8")
    house("halifax", "inspect", reel)
    own.write_text(usual.replace('"gap" = "blocks"', ""), encoding="utf-8")
    assert "nothing says how bad these are: gap" in house.refused("halifax", "inspect", reel)


def routed(forker: Forker, place: Path, *stages: str) -> House:
    """Return a house whose file says of its route what must be said, and nothing of inspections."""
    house = House(forker, place)
    text = PRODUCTION.replace('name = "halifax"\n', 'name = "halifax"\nstages = ["scan"]\n')
    text = text.replace('name = "tokyo"\n', 'name = "tokyo"\nstages = ["work"]\n')
    route = '[[stage]]\nname = "scan"\n[[stage]]\nname = "work"\nafter = ["scan"]\n'
    (place / "quillmark.toml").write_text("\n".join([text, route, *stages]), encoding="utf-8")
    house("lisbon", "production", "create", "quillmark.toml", "--store", "store")
    for site in ("halifax", "tokyo"):
        house("lisbon", "site", "invite", site)
        house(site, "site", "join", f"{site}.invitation")
    return house


def works(house: House, site: str, rounds: int = 3) -> None:
    for _ in range(rounds):
        house(site, "sweep", "--folder", "reels", "--settle", "0")


def test_what_a_worker_found_is_told_to_whoever_asks(forker: Forker, tmp_path: Path, reel: Path):
    house = routed(forker, tmp_path)
    (reel / "frames" / f"A_R01.{FIRST + 5:07d}.dpx").unlink()
    house("halifax", "claim", "scan/A/R01")
    said = house.refused("halifax", "send", reel, "A/R01", "--at-once", "--inspect")
    assert "is not sent: what was found blocks acceptance, in 1 of its parts; first gap" in said
    house.send("halifax", reel, "A/R01")
    works(house, "tokyo")
    told = house.told("lisbon", "reel", "findings", "A/R01/v1", "--sheet", "sheet.png")
    assert {each["kind"] for each in told["findings"]} == {"gap", "length"}  # of the 16,320 that the can says
    assert (tmp_path / "sheet.png").read_bytes().startswith(b"\x89PNG")
    assert "gap" in house("lisbon", "reel", "findings", "A/R01").out


def test_every_hand_in_is_looked_at_before_it_is_accepted_and_then_copied(forker: Forker, tmp_path: Path, reel: Path):
    house = routed(forker, tmp_path, 'command = ["reference-copy"]')
    house("halifax", "claim", "scan/A/R01")
    house.send("halifax", reel, "A/R01")
    house("lisbon", "fetch", "A/R01", "A_R01_here")  # whose part it is not to look
    said = house.refused("lisbon", "accept", "scan/A/R01")
    assert "nobody looked at A/R01/v1" in said
    assert "--despite" in said
    works(house, "tokyo", 1)
    jobs = {job["job"]: job["standing"] for job in house.told("lisbon", "jobs", "--all")["jobs"]}
    assert (jobs["scan/A/R01/1"], "work/A/R01/1" in jobs) == ("handed in", False)
    assert house.told("lisbon", "reel", "findings", "A/R01")["looked_at"] == 12
    house("lisbon", "accept", "scan/A/R01")
    works(house, "tokyo", 1)
    (copy,) = (tmp_path / "reels" / "sent" / "A_R01_v2").iterdir()
    assert copy.name == "A_R01_reference.mov"
    assert house.told("lisbon", "reel", "show", "A/R01")["versions"][-1]["parents"] == ["A/R01/v1"]


def test_without_the_libraries_the_sentence_names_the_extra(monkeypatch: pytest.MonkeyPatch):
    from relay.errors import RefusedError
    from relay.media import eyes

    monkeypatch.setattr(eyes, "find_spec", lambda name: None if name == "av" else object())
    with pytest.raises(RefusedError, match=r"av not found here.*pip install 'relay-handoff\[media\]'"):
        eyes.check_media()
