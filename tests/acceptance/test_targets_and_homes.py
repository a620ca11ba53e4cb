"""Where nothing can land: taken, read-only, full. One sentence, no half folder, and what was good stays."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.acceptance.command import RELAY, environment
from tests.acceptance.house import House, contents
from tests.faults.disks import memory_disk, or_skip


@pytest.fixture
def sent(house: House) -> House:
    house.send("halifax", house.scan("scan"))
    return house


@pytest.mark.parametrize("what", ["a file", "a folder", "a link"])
def test_a_target_that_is_taken_is_left_alone(sent: House, what: str):
    target = sent.place / "target"
    if what == "a folder":
        target.mkdir()
        (target / "mine.txt").write_text("mine")
    elif what == "a file":
        target.write_text("mine")
    else:
        target.symlink_to("scan")
    before = contents(target)

    for words in (("fetch", "A/R01", "target"), ("export", "bag", "A/R01", "target")):
        said = sent.refused("tokyo", *words)
        assert f"Something lies at {target} already" in said
        assert "Nothing was changed. Give another name" in said
    assert contents(target) == before
    assert target.is_symlink() is (what == "a link")


def test_a_version_that_is_there_already_is_verified_and_stays(sent: House):
    sent("tokyo", "fetch", "A/R01", "target")
    again = sent.told("tokyo", "fetch", "A/R01", "target")
    assert (again["whole"], again["receipt"]) == (True, 6), "the receipt that was signed before"

    (sent.place / "target" / "a_r01.0086400.dpx").write_bytes(b"edited")
    said = sent.refused("tokyo", "fetch", "A/R01", "target")
    assert "a_r01.0086400.dpx: changed in what arrived" in said
    assert (sent.place / "target" / "a_r01.0086400.dpx").read_bytes() == b"edited"


@pytest.mark.parametrize("version", ["A/R02", "A/R01/v2", "B/R01/v1"])
def test_a_version_that_is_not_there_is_missing(sent: House, version: str):
    for words in (("fetch", version, "target"), ("verify", "scan", version), ("reel", "compare", "A/R01/v1", version)):
        assert "relay reel" in sent.refused("tokyo", *words, ends=3) or version == "A/R02"
    assert not (sent.place / "target").exists()


@pytest.mark.parametrize("version", ["A/R01/v0", "nonsense"])
def test_what_is_no_name_of_a_version_is_refused(sent: House, version: str):
    for words in (("fetch", version, "target"), ("verify", "scan", version), ("reel", "compare", "A/R01/v1", version)):
        assert "relay reel list" in sent.refused("tokyo", *words, ends=2)
    assert not (sent.place / "target").exists()


def test_a_place_that_is_not_there_is_missing(sent: House):
    said = sent.refused("tokyo", "fetch", "A/R01", "drive/target", ends=3)
    assert "There is no folder drive, where target was to land. Is the drive connected?" in said


@pytest.fixture
def tmpfs(tmp_path: Path) -> Iterator[Path]:
    """A disk that holds 20 kB: half of a reel of 36 kB."""
    with or_skip(), memory_disk(tmp_path / "disk", 20_480) as disk:
        yield disk


def test_a_full_disk_keeps_what_arrived_and_goes_on_when_there_is_room(sent: House, tmpfs: Path):
    answer = sent("tokyo", "fetch", "A/R01", tmpfs / "target", ends=75)
    assert "No space left on device" in answer.err
    assert "run the same command again" in answer.err.lower()
    assert not (tmpfs / "target").exists()

    subprocess.run(["mount", "-o", "remount,size=1m", tmpfs], check=True)
    assert sent.told("tokyo", "fetch", "A/R01", tmpfs / "target")["whole"] is True
    assert contents(tmpfs / "target") == contents(sent.place / "scan")
    assert [path.name for path in tmpfs.iterdir()] == ["target"], "nothing hidden is left"


def test_a_full_store_takes_the_rest_when_there_is_room(house: House, tmpfs: Path):
    shutil.copytree(house.place / "store", tmpfs / "store")
    house("halifax", "site", "move", tmpfs / "store")
    scan = house.scan("scan")

    said = house.refused("halifax", "send", scan, "A/R01", "--at-once", ends=75)
    assert "Make room" in said
    subprocess.run(["mount", "-o", "remount,size=1m", tmpfs], check=True)
    assert house.send("halifax", scan)["version"] == "A/R01/v1"
    assert house.told("halifax", "ledger", "check", "--bucket")["entries"] == 6


def fill(path: Path) -> None:
    with path.open("wb", buffering=0) as file:
        while True:
            file.write(b"x" * 512)


def test_a_full_disk_under_a_home_loses_nothing(house: House, tmpfs: Path):
    subprocess.run(["mount", "-o", "remount,size=128k", tmpfs], check=True)
    home = shutil.copytree(house.place / "tokyo", tmpfs / "tokyo")
    filler, scan = tmpfs / "filler", house.scan("scan")
    with pytest.raises(OSError, match="No space left"):
        fill(filler)
    before = contents(home)

    def send() -> subprocess.CompletedProcess[str]:
        command = [RELAY, "--home", home, "send", scan, "A/R01", "--at-once"]
        return subprocess.run(command, env=environment(), cwd=house.place, capture_output=True, text=True, check=False)

    full = send()
    assert (full.returncode, full.stdout) in {(2, ""), (75, "")}
    assert full.stderr.startswith("relay: ")
    assert "Traceback" not in full.stderr
    assert contents(home)["key.pem"] == before["key.pem"]

    filler.unlink()
    assert send().returncode == 0
    assert [version["by"] for version in house.told("halifax", "reel", "show", "A/R01")["versions"]] == ["tokyo"]  # type: ignore[attr-defined]


WITHOUT_POWERS = ("setpriv", "--bounding-set=-dac_override,-dac_read_search", "--")
"""Root may write everywhere; without these capabilities it may not."""


@pytest.fixture
def read_only(sent: House) -> Iterator[Path]:
    folder = sent.place / "read-only"
    folder.mkdir()
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)


def powerless(house: House, site: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    if os.geteuid() == 0 and shutil.which("setpriv") is None:
        pytest.skip("root may write everywhere, and there is no setpriv to give that up with")
    command = [*(WITHOUT_POWERS if os.geteuid() == 0 else ()), RELAY, "--home", site, *words]
    return subprocess.run(command, env=environment(), cwd=house.place, capture_output=True, text=True, check=False)


def test_a_target_on_a_read_only_place_is_refused(sent: House, read_only: Path):
    done = powerless(sent, sent.place / "tokyo", "fetch", "A/R01", read_only / "target")

    assert done.returncode == 2, done.stderr
    assert "Permission denied" in done.stderr
    assert done.stderr.startswith("relay: ")
    assert list(read_only.iterdir()) == []


def test_a_home_that_cannot_be_made_is_refused_before_the_store_is_touched(sent: House, read_only: Path):
    done = powerless(sent, read_only / "home", "production", "create", "quillmark.toml", "--store", sent.place / "new")

    assert done.returncode == 2, done.stderr
    assert f"the home {read_only / 'home'} cannot be written (Permission denied)" in done.stderr
    assert not (sent.place / "new").exists()


def test_a_home_that_cannot_be_written_says_nothing_in_the_ledger(sent: House):
    home, entries = sent.place / "tokyo", sent.entries
    for path in (home, home / "ledger", *(path for path in home.rglob("*") if path.is_file())):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        done = powerless(sent, home, "send", sent.place / "scan", "A/R02", "--at-once")
    finally:
        for path in (home, home / "ledger"):
            path.chmod(0o755)

    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith("relay: ")
    assert str(home) in done.stderr
    assert sent.entries == entries


def test_a_file_that_may_not_be_read_is_named(sent: House):
    frame = sent.place / "scan" / "a_r01.0086403.dpx"
    frame.chmod(0)

    done = powerless(sent, sent.place / "halifax", "send", sent.place / "scan", "A/R02", "--at-once")
    assert done.returncode == 2
    assert f"{frame}' may not be read by this user: give the right to read it, then send again" in done.stderr
