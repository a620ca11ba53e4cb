"""What a script gets: every command answers `--json` with one object on standard output, and nothing else there."""

import sys
from pathlib import Path

import pytest

from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.test_documents import COMMANDS

ROUTE = f"""
[[stage]]
name = "scan"
inspected = false                 # these frames are no pictures
of = ["A/R01"]

[[stage]]
name = "grade"
after = ["scan"]
may_move = true

[[stage]]
name = "check"
after = ["grade"]
command = ["{sys.executable}", "-c", "raise SystemExit('no picture')"]
tries = 1
"""
ELSEWHERE = {
    "relay export close",  # in test_closing.py
    "relay decide",  # in test_decide.py
    "relay why",  # in test_why.py, where there is something to tell
    "relay account",  # there, too
    "relay left list",  # all four in test_left.py, where something was left as it is
    "relay left compare",
    "relay left crops",
    "relay left judge",
    "relay cut ask",  # all six in test_cut.py, where there are lists
    "relay cut check",
    "relay cut pull",
    "relay cut fetch",
    "relay cut differ",
    "relay cut write",
    "relay retire",  # in test_closing.py, where something was closed
    "relay reel findings",  # asked in test_inspect.py, where something was found
    "relay conform",  # in test_conform.py, where something came back
    "relay movie",  # in test_conform.py
    "relay fit-sound",  # in test_fit_sound.py, where there is a sound
    "relay align",  # in test_align.py, where two prints were looked at
    "relay pin",  # there, too
    "relay comparison ask",  # all three in test_comparison.py, where two prints lie side by side
    "relay comparison list",
    "relay comparison get",
    "relay gaps",  # in test_prints.py, where prints lie side by side
    "relay fill",  # there, too
    "relay coverage",
    "relay late",  # in test_late.py
    "relay beside",
}
STAGES = {"halifax": '["scan"]', "tokyo": '["grade", "check"]', "lisbon": '["grade"]'}


@pytest.fixture
def house(forker: Forker, tmp_path: Path) -> House:
    """A production with a route, whose last stage is done by a program that fails."""
    house, text = House(forker, tmp_path), PRODUCTION
    for site, stages in STAGES.items():
        text = text.replace(f'name = "{site}"\n', f'name = "{site}"\nstages = {stages}\n')
    (tmp_path / "quillmark.toml").write_text(text + ROUTE, encoding="utf-8")
    return house


class Script:
    """Asks with `--json`, and keeps count of what was asked."""

    def __init__(self, house: House) -> None:
        self.asked: set[str] = set()
        self._house = house

    def __call__(self, site: str, words: str, ends: int = 0) -> dict[str, object]:
        name = next(name for name in COMMANDS if f"relay {words} ".startswith(f"{name} "))
        self.asked.add(name)
        typed = [word.replace("_", " ") for word in words.split()]
        return self._house.told(site, *typed, ends=ends)


def test_every_command_answers_a_script_with_one_object(house: House):
    script = Script(house)
    scan, graded = house.scan("scan"), house.scan("graded", seed=2)

    assert script("lisbon", "production create quillmark.toml --store store")["created"] is True
    for site in ("halifax", "tokyo"):
        script("lisbon", f"site invite {site}")
        assert script(site, f"site join {site}.invitation")["site"] == site
    assert len(script("tokyo", "site list")["sites"]) == 3
    assert script("tokyo", "production show")["production"]["name"] == "quillmark"
    assert [finding["kept"] for finding in script("tokyo", "store check")["findings"]] == [True] * 3

    _work(script)
    _look(script)
    (scan / "a_r01.0086400.dpx").write_bytes((graded / "a_r01.0086400.dpx").read_bytes())
    assert script("lisbon", "verify scan A/R01/v1", ends=4)["whole"] is False
    _keep(script, house)
    _rule(script, house)

    with_json = {name for name, command in COMMANDS.items() if any("--json" in each.opts for each in command.params)}
    assert script.asked == with_json - ELSEWHERE


def _work(script: Script) -> None:
    assert [job["job"] for job in script("halifax", "jobs")["jobs"]] == ["scan/A/R01/1"]
    assert script("halifax", "claim scan/A/R01")["holder"] == "halifax"
    script("halifax", "extend scan/A/R01 --until 2026-12-24T18:00")
    assert script("halifax", "release scan/A/R01 --reason lamp")["standing"] == "open"
    script("halifax", "claim scan/A/R01")
    assert script("halifax", "send scan A/R01 --at-once")["job"] == "scan/A/R01/1"
    assert script("tokyo", "fetch A/R01 arrived")["whole"] is True
    assert script("lisbon", "accept scan/A/R01 --note good")["standing"] == "accepted"

    script("tokyo", "claim grade/A/R01")
    script("tokyo", "hand-on grade/A/R01 --to lisbon --done half --left half")
    assert script("lisbon", "hand-on grade/A/R01 --take")["holder"] == "lisbon"
    assert script("lisbon", "reassign grade/A/R01 --to tokyo --reason ill")["prefers"] == "tokyo"
    script("tokyo", "claim grade/A/R01")
    script("tokyo", "send graded A/R01 --at-once")
    assert script("lisbon", "return grade/A/R01 --reasons too_dark")["standing"] == "open"
    script("tokyo", "claim grade/A/R01")
    script("tokyo", "send graded A/R01 --at-once")
    script("halifax", "fetch A/R01 back")

    script("tokyo", "sweep --folder tokyo-reels --settle 0")
    assert "signs" in script("tokyo", "tidy --folder tokyo-reels")
    stopped = {job["job"]: job["standing"] for job in script("tokyo", "jobs --all")["jobs"]}
    assert stopped["check/A/R01/1"] == "stopped"
    assert script("lisbon", "restart check/A/R01 --reason again")["standing"] == "open"
    assert script("lisbon", "withdraw check/A/R01 --reason never_mind")["standing"] == "withdrawn"
    assert script("lisbon", "ask grade A/R01 --frames 3-5 --reason splice")["frames"] == [[3, 5]]


def _look(script: Script) -> None:
    assert script("tokyo", "reel list")["reels"][0]["newest"]["version"] == "A/R01/v3"
    assert len(script("tokyo", "reel show A/R01")["versions"]) == 3
    assert script("tokyo", "reel compare A/R01/v1 A/R01/v2")["frames"]["changed"] == [[0, 11]]
    assert script("halifax", "verify back A/R01/v3")["whole"] is True
    assert script("halifax", "inspect back", ends=2)["blocking"]  # drawn for no eye
    assert script("halifax", "mend A/R01/v1 scan --all")["mended"] == []
    assert script("halifax", "copies A/R01 --check")["copies"]
    assert script("halifax", "export bag A/R01/v1 bag")["files"] == 12
    assert script("tokyo", "ledger show --last 1")["entries"][0]["words"]
    assert script("tokyo", "ledger check")["holds"] is True
    assert script("tokyo", "forecast --seconds 0")["late_by_minutes"] < 0
    assert [each["site"] for each in script("tokyo", "who")["sites"]] == ["lisbon", "halifax", "tokyo"]


def _keep(script: Script, house: House) -> None:
    paper = house.place / "label.txt"
    paper.write_text("reel 1, winter", encoding="utf-8")
    assert script("halifax", "material keep label.txt A/R01 --note label")["name"] == "label.txt"
    assert len(script("tokyo", "material list")["material"]) == 1
    (house.place / "papers").mkdir()
    script("tokyo", "material get label.txt papers")
    assert (house.place / "papers" / "label.txt").read_bytes() == paper.read_bytes()

    (house.place / "secret").write_text("a lamp that nobody lit", encoding="utf-8")
    assert script("lisbon", "board person irene --role coordinator --password-file secret")["site"] == "lisbon"
    assert script("lisbon", "board link monitoring --machine")["name"] == "monitoring"
    assert len(script("lisbon", "board people")["people"]) == 2
    assert script("lisbon", "board remove irene")["removed"] == "irene"


def _rule(script: Script, house: House) -> None:
    film = house.place / "quillmark.toml"
    film.write_text(film.read_text().replace('speed = "18"', 'speed = "20"'))
    assert script("lisbon", "production revise quillmark.toml --reason speed")["entry"]
    assert script("tokyo", "site new-key --reason yearly")["site"] == "tokyo"
    assert script("tokyo", "site move store")["entries"]
    script("lisbon", "production new-root --root-key lisbon/root.pem --into new-root.pem --reason copy")
    script("porto", "production take-over --store store --root-key new-root.pem --reason laptop")
    assert script("porto", "site remove tokyo --reason done")["site"] == "tokyo"
