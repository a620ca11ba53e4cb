"""A production is closed: an archive checks the export with its own tools, by its page, and only then versions go."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import bagit
import pytest

from tests.acceptance.house import House, contents
from tests.conftest import missing

PAGE = "HOW-TO-VERIFY.txt"


@pytest.fixture(scope="module")
def closed(first_house: House, tmp_path_factory: pytest.TempPathFactory) -> House:
    """Two versions of a reel, the second final; a still; a new key; the export of all that."""
    house = first_house.copied(tmp_path_factory.mktemp("closing"))
    scan = house.scan("scan")
    (scan / "100% report.txt").write_text("a name that bags write otherwise")
    record = 'relay_treatment = 1\n[[step]]\nwhat = "{}"\nwith = "the scanner"\n'
    (scan / "treatment.toml").write_text(record.format("scanned dry"))
    house.send("halifax", scan)
    house("halifax", "site", "new-key", "--reason", "yearly")
    (scan / "treatment.toml").write_text(record.format("cleaned"))
    (scan / "a_r01.0086402.dpx").write_bytes(b"cleaned" * 300)
    house.send("tokyo", scan)
    house("lisbon", "material", "keep", scan / "100% report.txt", "A/R01")
    house("lisbon", "export", "close", "export", "A/R01/v2")
    return house


def by_the_page(folder: Path) -> "subprocess.CompletedProcess[str]":
    """Do what the page says, as somebody would who has nothing of ours: its own line, in a bare shell."""
    for program in ("openssl", "sha256sum", "base64"):
        if shutil.which(program) is None:
            missing(f"no {program} found")
    lines = (folder / PAGE).read_text(encoding="utf-8").splitlines()
    (line,) = [each.removeprefix("$ ") for each in lines if each.startswith("$ sed ")]
    bare = {"PATH": os.defpath, "HOME": "/", "LC_ALL": "C"}
    shell = ["bash", "--noprofile", "--norc", "-o", "pipefail", "-c", line]
    return subprocess.run(shell, cwd=folder, env=bare, capture_output=True, text=True, check=False)


def test_the_export_verifies_from_its_own_page_in_a_bare_shell(closed: House, tmp_path: Path):
    """As it comes to an archive: packed with tar, unpacked into an empty folder, and nothing of ours beside it."""
    packed = ["tar", "-C", str(closed.place), "-cf", str(tmp_path / "export.tar"), "export", "export.closing"]
    subprocess.run(packed, check=True)
    (tmp_path / "vault").mkdir()
    subprocess.run(["tar", "-C", str(tmp_path / "vault"), "-xf", str(tmp_path / "export.tar")], check=True)
    done = by_the_page(tmp_path / "vault" / "export")
    assert (done.returncode, done.stderr) == (0, "")
    root = re.search(r"root = \"([0-9a-f]{64})\"", (closed.place / "tokyo" / "site.toml").read_text())
    assert root
    assert done.stdout.splitlines() == [f"root key: {root[1]}", "all of it holds"]
    said = closed("tokyo", "ledger", "check", "--folder", closed.place / "export" / "data" / "ledger").out
    assert "every place, digest, signature and right holds" in said


def test_the_export_holds_reels_manifests_ledger_keys_reports_and_material(closed: House):
    data = closed.place / "export" / "data"
    assert contents(data / "reels" / "A_R01_v2") == contents(closed.place / "scan")
    assert {each.name for each in (data / "manifests").iterdir()} == {"A_R01_v1.txt", "A_R01_v2.txt"}
    assert len([*(data / "ledger").iterdir()]) == closed.entries - 1
    assert {each.suffix for each in (data / "reports").iterdir()} == {".html", ".pdf", ".xml"}
    assert [each.name.partition("-")[2] for each in (data / "material").iterdir()] == ["100% report.txt"]


SPOILT = [
    ("data/reels/A_R01_v2/a_r01.0086405.dpx", "files in data/"),
    ("bag-info.txt", "the lists of this bag"),
    ("data/more.txt", "files that the list does not name"),
    ("data/ledger/0000000004", "files in data/"),
]


def test_whatever_is_spoilt_makes_the_page_s_commands_fail(closed: House, tmp_path: Path):
    for number, (path, said) in enumerate(SPOILT):
        copy = tmp_path / str(number) / "export"
        shutil.copytree(closed.place / "export", copy)
        shutil.copy(closed.place / "export.closing", f"{copy}.closing")
        (copy / path).write_bytes(b"spoilt")
        done = by_the_page(copy)
        assert done.returncode != 0, path
        assert f"FAILED: {said}" in done.stdout


def forged(export: Path, change: str, by: str) -> "subprocess.CompletedProcess[str]":
    """Change an entry and make every list of the bag agree again, as a forger would; then ask the page."""
    entry = export / "data" / "ledger" / "0000000004"
    entry.write_text(re.sub(change, by, entry.read_text(), count=1))
    lists = ("manifest-sha256.txt", "tagmanifest-sha256.txt")
    for name, root in zip(lists, (export / "data", export), strict=True):
        told = (export / name).read_text()
        for path in [each for each in root.rglob("*") if each.is_file()]:
            digest = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
            relative = re.escape(str(path.relative_to(export)).replace("%", "%25"))
            told = re.sub(rf"(?m)^[0-9a-f]{{64}}(  {relative})$", rf"{digest}\1", told)
        (export / name).write_text(told)
    return by_the_page(export)


def test_a_forger_who_mends_every_list_is_caught_by_chain_signature_and_closing(closed: House, tmp_path: Path):
    for number, (change, by, said) in enumerate(
        [(r"2026|2027", "2028", "signature of"), (r'"previous":"..', '"previous":"00', "follow")]
    ):
        copy = tmp_path / str(number) / "export"
        shutil.copytree(closed.place / "export", copy)
        shutil.copy(closed.place / "export.closing", f"{copy}.closing")
        done = forged(copy, change, by)
        assert done.returncode != 0
        assert said in done.stdout


def test_versions_go_only_after_the_export_was_read_again_and_the_ledger_keeps_saying_that_they_were(
    closed: House, tmp_path: Path
):
    house = closed.copied(tmp_path / "house")
    retire = ("retire", "export", "--reason", "kept by the vault")
    assert "may not" in house.refused("tokyo", *retire)
    frame = house.place / "export" / "data" / "reels" / "A_R01_v2" / "a_r01.0086405.dpx"
    whole = frame.read_bytes()
    frame.write_bytes(b"spoilt")
    assert "nothing was retired" in house.refused("lisbon", *retire, ends=4)
    frame.write_bytes(whole)
    gone = house.told("lisbon", *retire)
    assert (gone["versions"], gone["objects"]) == (["A/R01/v1"], 1)  # the frame that the second version has otherwise
    assert house.told("lisbon", *retire)["objects"] == 0
    assert "A/R01/v1" in house("tokyo", "reel", "show", "A/R01").out
    assert "A/R01/v1 is a scan: scanned dry with the scanner" in house("tokyo", "why", "A/R01").out
    assert "was retired from the bucket" in house.refused("tokyo", "fetch", "A/R01/v1", "gone", ends=3)
    house("tokyo", "fetch", "A/R01/v2", "kept")
    assert "takes no further ones" in house.refused("halifax", "send", house.scan("late", seed=3), "A/R02", "--at-once")
    assert "retired A/R01/v1 from the bucket: kept by the vault" in house("tokyo", "ledger", "show").out


def test_before_it_is_closed_nothing_is_retired_and_only_the_coordinator_closes(
    closed: House, first_house: House, tmp_path: Path
):
    house = first_house.copied(tmp_path / "open")
    house.send("halifax", house.scan("scan"))
    assert "never closed" in house.refused("lisbon", "retire", "export", "--reason", "room")
    assert "may not close" in house.refused("tokyo", "export", "close", "mine", "A/R01/v1")
    assert "name the final versions" in house.refused("lisbon", "export", "close", "mine")
    assert not (house.place / "mine").exists()
    house("lisbon", "export", "close", "mine", "A/R01/v1")
    bagit.Bag(str(house.place / "mine")).validate()  # the reference implementation; it does not read %25 as it should
