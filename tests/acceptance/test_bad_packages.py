"""A folder that is no package is refused in one sentence, and nothing of it is said or stored."""

import os
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.acceptance.house import House, contents


def nothing_came_of(house: House, entries: int) -> None:
    assert house.entries == entries
    assert contents(house.place / "store" / "by-digest") == {}


def bind(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as end:
        here = Path.cwd()
        os.chdir(path.parent)  # a socket's path may have 107 bytes at most
        try:
            end.bind(path.name)
        finally:
            os.chdir(here)


STRANGE: dict[str, tuple[Callable[[Path], object], str]] = {
    "a link to a file": (
        lambda folder: (folder / "b").symlink_to("a_r01.0086400.dpx"),
        "b' is a link, expected a file",
    ),
    "a link to a folder": (lambda folder: (folder / "b").symlink_to("/etc"), "b' is a link, expected a file"),
    "a link to nothing": (lambda folder: (folder / "b").symlink_to("nowhere"), "b' is a link, expected a file"),
    "a pipe": (lambda folder: os.mkfifo(folder / "b"), "b' is a pipe, expected a file"),
    "a socket": (lambda folder: bind(folder / "b"), "b' is a socket, expected a file"),
    "a name that is not UTF-8": (
        lambda folder: Path(os.fsdecode(os.fsencode(folder) + b"/na\xffme.dpx")).write_bytes(b"x"),
        "it is not UTF-8: rename it",
    ),
    "case twins": (lambda folder: (folder / "A_R01.0086400.DPX").write_bytes(b"x"), "some systems cannot tell"),
    "Unicode twins": (
        lambda folder: [(folder / name).write_bytes(b"x") for name in ("caf\u00e9.txt", "cafe\u0301.txt")],
        "some systems cannot tell",
    ),
    "a device of Windows": (lambda folder: (folder / "con.txt").write_bytes(b"x"), "name of a device on Windows"),
    "a name that Windows cannot hold": (lambda folder: (folder / "a?.txt").write_bytes(b"x"), "cannot stand in a name"),
}


@pytest.mark.parametrize("what", STRANGE)
def test_what_is_no_file_of_a_package_is_named(house: House, what: str):
    folder, before = house.scan("scan"), house.entries
    put, expected = STRANGE[what]
    put(folder)

    assert expected in house.refused("halifax", "send", folder, "A/R01", "--at-once")
    nothing_came_of(house, before)


def test_a_device_is_named(house: House):
    folder = house.scan("scan")
    try:
        os.mknod(folder / "null", 0o600 | 0o020000, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("only root makes devices")

    assert "null' is a device, expected a file" in house.refused("halifax", "send", folder, "A/R01", "--at-once")


def test_an_empty_folder_is_refused(house: House):
    (house.place / "empty" / "inside").mkdir(parents=True)

    assert "'empty' holds no files" in house.refused("halifax", "send", "empty", "A/R01")
    nothing_came_of(house, house.entries)


@pytest.mark.parametrize("what", ["nowhere", "quillmark.toml"])
def test_what_is_no_folder_is_missing(house: House, what: str):
    assert f"{what} is not a folder: name the folder" in house.refused("halifax", "send", what, "A/R01", ends=3)


@pytest.mark.parametrize("reel", ["A/R09", "B/R01", "a/r01"])
def test_a_reel_that_is_none_of_the_production_is_missing(house: House, reel: str):
    assert "`relay reel list` shows" in house.refused("halifax", "send", house.scan("scan"), reel, ends=3)
    nothing_came_of(house, house.entries)


@pytest.mark.parametrize("reel", ["A-R01", "A/R01/v1", "", "../R01"])
def test_what_is_no_name_of_a_reel_is_refused(house: House, reel: str):
    assert "`relay reel list` shows" in house.refused("halifax", "send", house.scan("scan"), reel, ends=2)
    nothing_came_of(house, house.entries)


def test_a_folder_that_is_still_being_filled_is_refused_and_sent_when_it_is_finished(house: House):
    folder, before = house.scan("scan"), house.entries
    stop = threading.Event()

    def fill() -> None:
        with (folder / "a_r01.0086412.dpx").open("wb") as file:
            while not stop.wait(0.05):
                file.write(b"more")
                file.flush()

    copying = threading.Thread(target=fill)
    copying.start()
    try:
        while not (folder / "a_r01.0086412.dpx").exists():
            time.sleep(0.01)
        said = house.refused("halifax", "send", folder, "A/R01")
    finally:
        stop.set()
        copying.join()

    assert "still being filled: 'a_r01.0086412.dpx' changed just now. Wait until it is finished" in said
    nothing_came_of(house, before)
    assert house.told("halifax", "send", folder, "A/R01")["files"] == 13


def test_a_scan_whose_numbers_have_nothing_to_do_with_the_parents_asks_for_its_start_mark(house: House):
    house.send("halifax", house.scan("scan"))
    rescan = house.scan("rescan", first=100, seed=2)

    said = house.refused("halifax", "send", rescan, "A/R01", "--at-once")
    assert "numbered 100 to 111, those of A/R01/v1 86400 to 86411" in said
    assert "--start-mark NUMBER" in said
    assert house.send("halifax", rescan, "A/R01", "--start-mark", "102")["frames"] == [[-2, 9]]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--start-mark", "12a"), "'12a' is no start mark: expected the file's number"),
        (("--start-mark", "1", "--scan-map", "map.toml"), "say the same thing twice"),
        (("--scan-map", "quillmark.toml"), "is no scan map: name means nothing here"),
        (("--parent", "A/R01"), "'A/R01' does not name a version"),
    ],
)
def test_what_ties_a_scan_to_the_reel_must_make_sense(house: House, words: tuple[str, ...], expected: str):
    assert expected in house.refused("halifax", "send", house.scan("scan"), "A/R01", "--at-once", *words)
    nothing_came_of(house, house.entries)


def test_a_start_mark_without_frames_is_refused(house: House):
    (house.place / "papers").mkdir()
    (house.place / "papers" / "report.txt").write_text("a splice at 412")

    said = house.refused("halifax", "send", "papers", "A/R01", "--start-mark", "86400", "--at-once")
    assert "papers holds no numbered frames" in said
    assert house.send("halifax", "papers")["frames"] == []


def test_a_note_too_long_for_the_ledger_is_refused_before_anything_is_sent(house: House):
    answer = house("halifax", "send", house.scan("scan"), "A/R01", "--note", "x" * 4001, ends=2)

    assert "4001 characters; expected a note of at most 4,000 characters" in answer.err
    nothing_came_of(house, house.entries)


def test_a_folder_whose_own_name_is_not_utf_8_is_sent(house: House):
    folder = house.scan("scan").rename(os.fsdecode(os.fsencode(house.place) + b"/sc\xffn"))

    assert house.send("halifax", folder)["files"] == 12
    assert house.told("tokyo", "fetch", "A/R01", os.fsencode(house.place) + b"/arr\xffved")["whole"] is True
