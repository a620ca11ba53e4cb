"""Wrong keys, spent and forged invitations, removed sites: refused in one sentence, and no trace of the try."""

import base64
import json
import os
import shutil
from pathlib import Path

import pytest

from tests.acceptance.house import House


def test_an_invitation_is_good_once(house: House):
    said = house.refused("stranger", "site", "join", "tokyo.invitation")

    assert "stopped counting with entry" in said
    assert "If it was not you who used it, tell the coordinator at once" in said
    assert not (house.place / "stranger").exists()
    assert "tokyo has joined" in house("tokyo", "site", "join", "tokyo.invitation").out, (
        "the one who used it may say so"
    )


def test_a_forged_invitation_is_refused(house: House):
    forged = json.loads((house.place / "tokyo.invitation").read_text())
    forged["seed"] = base64.b64encode(os.urandom(32)).decode()
    (house.place / "forged.invitation").write_text(json.dumps(forged))

    assert "knows nothing of this invitation" in house.refused("stranger", "site", "join", "forged.invitation")
    assert not (house.place / "stranger").exists()


def test_an_invitation_to_a_forged_production_is_refused(house: House):
    forged = json.loads((house.place / "tokyo.invitation").read_text())
    (house.place / "forged.invitation").write_text(json.dumps({**forged, "root": "0" * 64}))

    said = house.refused("stranger", "site", "join", "forged.invitation", ends=4)
    assert "this is another production, or a forged one" in said


@pytest.mark.parametrize(
    ("text", "ends", "expected"),
    [
        (b"\xff\xfe", 2, "nothing.invitation: "),
        (b"{}", 2, "this is not an invitation: expected the file that `relay site invite` wrote"),
        (None, 3, "there is no file nothing.invitation: ask the coordinator"),
    ],
)
def test_what_is_no_invitation_is_refused(house: House, text: bytes | None, ends: int, expected: str):
    if text is not None:
        (house.place / "nothing.invitation").write_bytes(text)

    assert expected in house.refused("stranger", "site", "join", "nothing.invitation", ends=ends)
    assert not (house.place / "stranger").exists()


def test_an_invitation_does_not_overwrite_a_file_or_another_sites_home(house: House):
    assert "tokyo.invitation is there already" in house.refused("lisbon", "site", "invite", "tokyo")
    assert "is already tokyo's home" in house.refused("tokyo", "site", "join", "halifax.invitation")


@pytest.mark.parametrize(
    ("site", "expected"),
    [
        ("nobody", "the production has no site nobody: add it to the production's file"),
        ("lisbon", "has joined already; a lost key is replaced"),
    ],
)
def test_a_refused_invitation_leaves_no_file(house: House, site: str, expected: str):
    before = house.entries

    assert expected in house.refused("lisbon", "site", "invite", site, "--into", "new.invitation")
    assert not (house.place / "new.invitation").exists()
    assert "cannot be written" in house.refused("lisbon", "site", "invite", "tokyo", "--into", "nowhere/new.invitation")
    assert house.entries == before


def test_only_the_coordinator_invites_revises_and_removes(house: House):
    film = house.place / "quillmark.toml"
    film.write_text(film.read_text().replace('speed = "18"', 'speed = "20"'))
    before = house.entries

    for words in (
        ("site", "invite", "tokyo", "--into", "new.invitation"),
        ("site", "remove", "halifax", "--reason", "mischief"),
        ("production", "revise", film, "--reason", "mischief"),
    ):
        assert "tokyo may not" in house.refused("tokyo", *words)
    assert house.entries == before


def test_the_key_of_another_site_is_noticed_before_anything_is_sent(house: House):
    shutil.copy(house.place / "halifax" / "key.pem", house.place / "tokyo" / "key.pem")
    scan, before = house.scan("scan"), house.entries

    said = house.refused("tokyo", "send", scan, "A/R01")
    assert "the key in this home is halifax's, but the home is tokyo's" in said
    house.send("halifax", scan)
    assert "is halifax's" in house.refused("tokyo", "fetch", "A/R01", "arrived")
    assert not (house.place / "arrived").exists()
    assert house.entries == before + 1


@pytest.mark.parametrize(
    ("pem", "ends", "expected"),
    [(b"garbage", 4, "is not a private key in PEM form: fetch it from its backup"), (None, 3, "there is no key at")],
)
def test_a_lost_or_broken_key_is_said(house: House, pem: bytes | None, ends: int, expected: str):
    key = house.place / "tokyo" / "key.pem"
    key.unlink()
    if pem:
        key.write_bytes(pem)

    assert expected in house.refused("tokyo", "send", house.scan("scan"), "A/R01", ends=ends)


def test_a_removed_site_says_nothing_more_and_comes_back_by_a_new_invitation(house: House):
    house("lisbon", "site", "remove", "tokyo", "--reason", "its laptop was stolen")
    scan, before = house.scan("scan"), house.entries

    for words in (("send", scan, "A/R01"), ("site", "new-key", "--reason", "mischief")):
        assert "tokyo's key stopped counting with entry" in house.refused("tokyo", *words)
    assert house.entries == before
    assert sorted(path.name for path in (house.place / "tokyo").glob("*.pem")) == ["key.pem"]
    assert [each["standing"] for each in house.told("lisbon", "site", "list")["sites"]] == [
        "coordinator",
        "joined",
        "removed",
    ]

    house("lisbon", "site", "invite", "tokyo", "--into", "again.invitation")
    house("tokyo", "site", "join", "again.invitation")
    assert house.send("tokyo", scan)["version"] == "A/R01/v1"


def test_a_new_key_that_was_said_but_not_put_in_place_is_put_in_place(house: House):
    """As after a power cut between the entry and the renaming."""
    home = house.place / "tokyo"
    old = (home / "key.pem").read_bytes()
    said = house.told("tokyo", "site", "new-key", "--reason", "yearly")
    (home / "key.pem").rename(home / "key.new.pem")
    (home / "key.pem").write_bytes(old)

    assert house.told("tokyo", "site", "new-key", "--reason", "yearly")["entry"] == said["entry"]
    assert house.send("tokyo", house.scan("scan"))["new"] is True


def test_a_production_is_not_founded_over_another_nor_in_a_site_s_home(house: House):
    words = ("production", "create", "quillmark.toml", "--store")

    assert "another production lies in" in house.refused("stranger", *words, "store")
    assert not (house.place / "stranger").exists()
    assert "is the home of tokyo in the production quillmark" in house.refused("tokyo", *words, "new-store")
    assert not (house.place / "tokyo" / "root.pem").exists()
    assert not (house.place / "new-store").exists()
    assert house.told("lisbon", *words, "store")["created"] is False, "the same command again is no harm"


def test_a_home_without_a_site_says_how_to_join(house: House):
    for words in (("reel", "list"), ("store", "check"), ("ledger", "check"), ("send", house.scan("scan"), "A/R01")):
        assert "join with `relay site join INVITATION`" in house.refused("nobody", *words, ends=3)
    assert not (house.place / "nobody").exists()


def test_a_settings_file_that_was_spoiled_is_named(house: House):
    settings = house.place / "tokyo" / "site.toml"
    settings.write_text(settings.read_text().replace("site =", "sight ="))

    said = house.refused("tokyo", "reel", "list")
    assert "site.toml cannot be read: sight means nothing here; site is missing" in said


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("site", "remove", "tokyo", "--reason", ""), "expected one line of text, 1 to 400 characters"),
        (("site", "remove", "tokyo", "--reason", "a\nb"), "expected one line of text"),
        (("site", "remove", "tokyo", "--reason", b"\xff"), "in UTF-8"),
        (("site", "remove", "tokyo"), "Missing option '--reason'"),
        (("site", "invite", "Bad Name"), "expected a site's name as the production's file has it"),
        (("sned",), "No such command 'sned'"),
        (("send",), "Missing argument 'FOLDER'"),
        (("ledger", "show", "--last", "-3"), "Invalid value for '--last'"),
        (("ledger", "check", "--folder", "store", "--root", "zz"), "'zz' is not a SHA-256"),
    ],
)
def test_what_was_typed_wrong_is_said_with_the_usage(house: House, words: tuple[str, ...], expected: str):
    answer = house("lisbon", *words, ends=2)

    assert answer.err.startswith("Usage: relay")
    assert expected in answer.err


def test_a_number_of_hands_that_is_none_is_refused(house: House):
    for hands in ("many", "0", "257"):
        other = House(house._forker, house.place, env={**os.environ, "RELAY_HANDS": hands})
        assert f"RELAY_HANDS is {hands!r}: expected a number from 1 to 256" in other.refused("lisbon", "reel", "list")


def test_keys_and_invitations_are_for_their_owner_alone(house: House):
    assert (house.place / "tokyo" / "key.pem").stat().st_mode & 0o077 == 0
    assert Path(house.place / "tokyo.invitation").stat().st_mode & 0o077 == 0
