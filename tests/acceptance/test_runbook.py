"""Each page of deploy/RUNBOOK.md, rehearsed with the real command."""

import os
import re
import shutil
from pathlib import Path

import pytest

from tests.acceptance.command import REPO, Forker

RUNBOOK = REPO / "deploy" / "RUNBOOK.md"


class House:
    """Homes of several sites, and a store, on this machine."""

    def __init__(self, forker: Forker, place: Path) -> None:
        self.place = place
        self.store = place / "store"
        self._forker = forker

    def found(self) -> None:
        self("lisbon", "production", "create", REPO / "deploy/demo/production.toml", "--store", self.store)
        for site in ("halifax", "tokyo"):
            self.join(site)

    def copied(self, to: Path) -> "House":
        """Return a house like this one in another place."""
        shutil.copytree(self.place, to, dirs_exist_ok=True)
        for file in to.glob("*/site.toml"):
            file.write_text(file.read_text().replace(str(self.place), str(to)))
        return House(self._forker, to)

    def join(self, site: str, home: str | None = None) -> None:
        letter = self.place / f"{site}.invitation"
        letter.unlink(missing_ok=True)
        self("lisbon", "site", "invite", site, "--into", letter)
        self(home or site, "site", "join", letter)

    def __call__(self, home: str, *words: str | Path, ends: int = 0) -> str:
        answer = self._forker.run("--home", self.place / home, *words, cwd=self.place)
        assert answer.code == ends, answer.out + answer.err
        assert "Traceback" not in answer.err
        return answer.out + answer.err

    def told(self, home: str, *words: str | Path) -> dict[str, object]:
        return self._forker.run("--home", self.place / home, *words, "--json", cwd=self.place).facts

    def reel(self, name: str = "scan") -> Path:
        folder = self.place / name
        folder.mkdir()
        for number in range(1, 4):
            (folder / f"a.{number:07d}.dpx").write_bytes(os.urandom(1000))
        return folder


@pytest.fixture(scope="module")
def founded(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("runbook"))
    house.found()
    return house


@pytest.fixture
def house(founded: House, tmp_path: Path) -> House:
    return founded.copied(tmp_path)


def test_lose_the_coordinator(house: House) -> None:
    house(
        "new-lisbon",
        "production",
        "take-over",
        "--store",
        house.store,
        "--root-key",
        house.place / "lisbon/root.pem",
        "--reason",
        "the laptop was lost",
    )
    refused = house("lisbon", "site", "remove", "tokyo", "--reason", "mischief", ends=2)
    assert "stopped counting" in refused
    house("new-lisbon", "site", "remove", "tokyo", "--reason", "its work is done")


def test_lose_the_root_key(house: House) -> None:
    old, new = house.place / "lisbon/root.pem", house.place / "new-root.pem"
    house("lisbon", "production", "new-root", "--root-key", old, "--into", new, "--reason", "a copy is missing")
    take_over = ("production", "take-over", "--store", house.store, "--reason", "rehearsal", "--root-key")
    assert "stopped counting" in house("thief", *take_over, old, ends=2)
    house("new-lisbon", *take_over, new)


def test_lose_a_site_s_disk(house: House) -> None:
    house("halifax", "claim", "scan/A/R02")
    house("halifax", "send", house.reel(), "A/R01", "--at-once")
    shutil.rmtree(house.place / "halifax")
    house("lisbon", "site", "remove", "halifax", "--reason", "its disk died")
    house.join("halifax", "new-halifax")
    house("new-halifax", "fetch", "A/R01", house.place / "arrived")
    house("lisbon", "reassign", "scan/A/R02", "--to", "tokyo", "--reason", "the disk died")
    house("tokyo", "claim", "scan/A/R02")


def test_revoke_a_site(house: House) -> None:
    house("lisbon", "site", "remove", "halifax", "--reason", "the key was stolen")
    assert "stopped counting" in house("halifax", "send", house.reel(), "A/R01", "--at-once", ends=2)
    assert "nothing sent" in house("lisbon", "reel", "list")


def test_rotate_a_key(house: House) -> None:
    before = (house.place / "halifax/key.pem").read_bytes()
    house("halifax", "site", "new-key", "--reason", "yearly")
    assert (house.place / "halifax/key.pem").read_bytes() != before
    house("halifax", "send", house.reel(), "A/R01", "--at-once")
    house("tokyo", "ledger", "check", "--bucket")


def test_move_the_bucket(house: House) -> None:
    house("halifax", "send", house.reel(), "A/R01", "--at-once")
    moved = house.place / "moved"
    shutil.copytree(house.store, moved)
    house("halifax", "store", "check", moved)
    house("halifax", "site", "move", moved)
    house("halifax", "ledger", "check", "--bucket")
    house("halifax", "fetch", "A/R01", house.place / "arrived")
    newest = max((moved / "entries").iterdir())
    newest.unlink()
    assert "no longer shows entry" in house("halifax", "ledger", "show", ends=4)
    assert "no longer shows entry" in house("halifax", "site", "move", moved, ends=4)


def test_clock_wrong(house: House) -> None:
    assert house.told("halifax", "store", "check")["skew"] == pytest.approx(0, abs=5)


def test_a_reel_is_refused(house: House) -> None:
    scan = house.reel()
    house("halifax", "send", scan, "A/R01", "--at-once")
    objects = sorted((house.store / "by-digest").glob("*/*"), key=lambda path: path.stat().st_size)
    bad = next(path for path in objects if path.stat().st_size == 1000)
    bad.chmod(0o644)
    bad.write_bytes(b"\0" * 1000)
    assert "is refused: 1 file" in house("tokyo", "fetch", "A/R01", house.place / "arrived", ends=4)
    assert "tokyo refused: 1 bad file" in house("lisbon", "reel", "show", "A/R01")
    house("halifax", "mend", "A/R01/v1", scan)
    house("tokyo", "fetch", "A/R01", house.place / "arrived")


def test_a_site_s_disk_is_full(house: House) -> None:
    folder = house.place / "reels"
    (folder / "sent").mkdir(parents=True)
    scan = house.reel().rename(folder / "sent" / "A_R01_v1")
    house("halifax", "send", scan, "A/R01", "--at-once", "--no-job")
    tidy = ("tidy", "--folder", folder, "--older", "0")
    assert house.told("halifax", *tidy)["folders"][0]["verdict"] == "goes"
    assert scan.is_dir()
    assert house.told("halifax", *tidy, "--remove")["folders"][0]["verdict"] == "gone"
    assert not scan.exists()
    house("tokyo", "fetch", "A/R01", house.place / "arrived")


def test_a_folder_is_not_sent(house: House) -> None:
    folder = house.place / "reels"
    (folder / "to-send").mkdir(parents=True)
    holiday = house.reel().rename(folder / "to-send" / "holiday")
    sweep = ("sweep", "--folder", folder, "--settle", "0")
    while "holiday" not in house("lisbon", "jobs"):
        house("halifax", *sweep)
    (holiday / "relay.toml").write_text('reel = "A/R01"')
    while "holiday" in house("lisbon", "site", "list"):
        house("halifax", *sweep)
    assert "A/R01/v1" in house("lisbon", "reel", "show", "A/R01")


def test_the_board_is_stale_or_somebody_must_not_come_in_any_more(house: House) -> None:
    (house.place / "secret").write_text("a lamp that nobody lit", encoding="utf-8")
    house("lisbon", "board", "person", "irene", "--role", "coordinator", "--password-file", house.place / "secret")
    assert "irene" in house("lisbon", "board", "people")
    house("lisbon", "board", "remove", "irene")
    assert "irene" not in house("lisbon", "board", "people")


def test_the_bucket_is_away(house: House) -> None:
    scan = house.reel()
    house.store.rename(house.place / "unplugged")
    said = house("halifax", "send", scan, "A/R01", "--at-once", ends=3)
    assert "Is the drive connected" in said
    (house.place / "unplugged").rename(house.store)
    house("halifax", "send", scan, "A/R01", "--at-once")


# Lose Redis: tests/faults/test_workers_*.py, where there is one. The last leg: test_last_leg.py.
ELSEWHERE = {"lose redis", "the last leg"}
PAGES = [page.lower() for page in re.findall(r"^## (.+)$", RUNBOOK.read_text(encoding="utf-8"), re.MULTILINE)]


def test_every_page_of_the_runbook_is_rehearsed() -> None:
    tests = {name.removeprefix("test_") for name in globals() if name.startswith("test_")}
    names = {re.sub(r"[^a-z]+", "_", page) for page in PAGES if page not in ELSEWHERE}
    rehearsed = {name.replace("the_bucket_is_full_slow_or_away", "the_bucket_is_away") for name in names}
    assert rehearsed <= tests
