"""A year later: why this shot, what was done to it, did it make it into the film, and each archive's account."""

import pytest

from tests.acceptance.house import House

TREATED = """relay_treatment = 1
[[step]]
what = "dust removed"
with = "the cleaning desk"
frames = "2-3"
settings = { strength = 0.4 }
"""
LIST = """rate = "24"
[[event]]
reel = "A/R01"
first = 0
length = 6
[[event]]
reel = "gap/gap"
first = 0
length = 2
"""


@pytest.fixture(scope="module")
def house(first_house: House, tmp_path_factory: pytest.TempPathFactory) -> House:
    """Twelve frames were scanned, one of them cleaned with a record and one without; six are in the film."""
    house = first_house.copied(tmp_path_factory.mktemp("why"))
    scan = house.scan("scan")
    house.send("halifax", scan)
    for number in (86402, 86407):
        (scan / f"a_r01.{number:07d}.dpx").write_bytes(b"cleaned" * 300)
    (scan / "treatment.toml").write_text(TREATED)
    house.send("tokyo", scan)
    (house.place / "cut.toml").write_text(LIST)
    house("lisbon", "decide", "A/R01:8-9", "not used", "--because", "=scratches", "--person", "Ines")
    return house


def test_a_place_is_told_with_its_decisions_its_treatment_and_its_use(house: House):
    told = house.told("lisbon", "why", "A/R01", "--cut-list", "cut.toml")
    assert [(each["frames"], each["shown_at"]) for each in told["in_the_film"]] == [
        ([0, 5], [[0, 5]]),
        ([6, 7], []),
        ([8, 9], []),
        ([10, 11], []),
    ]
    said = [each["said"] for each in told["in_the_film"]]
    assert said[1] == said[3] == "not in the film, and nobody said why"
    assert said[2].startswith("not in the film; not used: the other is scratched through the emulsion here (lisbon")
    assert told["treatments"]["A/R01/v2"] == ["dust removed with the cleaning desk on 2-3 (strength 0.4)"]
    assert told["undocumented"] == {"A/R01/v2": [[7, 7]]}
    assert told["scans"]["A/R01/v2"] == ["A/R01/v1"]
    kinds = [each["word"] for each in told["story"]]
    assert kinds == ["production-created", "version-made", "version-made", "decision-made"]
    shown = house("tokyo", "why", "A/R01/v2:2-9", "--cut-list", "cut.toml").out
    assert "A/R01/v2 differs from what it was made from in 7, and no step says so." in shown
    assert "2-5: in the film at 2-5" in shown


def test_a_shot_of_the_programme_is_followed_to_its_sources_and_their_story(house: House):
    house("lisbon", "decide", "programme:3-6", "preferred", "--because", "=steadier")
    told = house.told("lisbon", "why", "programme:2-6", "--cut-list", "cut.toml")
    assert [(each["frames"], each["origin"], each["reel"], each["shows"]) for each in told["comes_from"]] == [
        ([2, 5], "print", "A/R01", [2, 5]),
        ([6, 6], "missing", None, None),
    ]
    kinds = [each["word"] for each in told["story"]]
    assert kinds == ["production-created", "version-made", "version-made", "decision-made"]
    assert told["treatments"]["A/R01/v2"] == ["dust removed with the cleaning desk on 2-3 (strength 0.4)"]
    shown = house("tokyo", "why", "programme:2-6", "--cut-list", "cut.toml").out
    assert "2-5: A/R01:2-5, lent by Copper Shelf Film Vault" in shown
    assert "6: missing: no print had it" in shown
    assert "beyond" in house.refused("tokyo", "why", "programme:8-9", "--cut-list", "cut.toml", ends=3)
    assert "told with a cut list" in house("tokyo", "why", "programme:2").out


def test_without_a_cut_list_it_is_said_that_the_film_is_not_known(house: House):
    assert "is told with a cut list" in house("lisbon", "why", "A/R01:3").out
    assert "no reel" in house.refused("lisbon", "why", "A/R09", ends=3)


def test_each_archive_gets_its_account_and_the_frames_add_up(house: House):
    told = house.told("lisbon", "account", "accounts", "--cut-list", "cut.toml")
    assert told["frames"] == {
        "total": 8,
        "archives": {"Copper Shelf Film Vault": 6},
        "made_new": 0,
        "missing": 2,
    }
    files = {each.name for each in (house.place / "accounts").iterdir()}
    stem = "account-copper-shelf-film-vault"
    assert files == {f"{stem}.html", f"{stem}.pdf", f"{stem}.premis.xml", "provenance.html", "provenance.pdf"}
    assert "Print: Copper Shelf Film Vault" in (house.place / "accounts" / f"{stem}.html").read_text()
    assert "exists: name a new folder" in house.refused("lisbon", "account", "accounts")
    assert "no archive is called" in house.refused("lisbon", "account", "more", "--holder", "Nobody", ends=3)


def test_a_record_that_cannot_be_read_is_refused_before_anything_is_sent(house: House):
    folder = house.scan("badly")
    (folder / "treatment.toml").write_text(TREATED.replace("2-3", "3-2"))
    said = house.refused("tokyo", "send", folder, "A/R02", "--at-once")
    assert "treatment.toml is no treatment record" in said
    assert "frames 3 to 2 run backwards" in said
    (folder / "treatment.json").write_text("{}")
    assert "expected one record" in house.refused("tokyo", "send", folder, "A/R02", "--at-once")
    assert "there is no A/R02/v1" in house.refused("tokyo", "reel", "findings", "A/R02/v1", ends=3)
