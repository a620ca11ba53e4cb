"""`relay who`, as somebody at a site asks it."""

from pathlib import Path

import pytest

from tests.acceptance.command import Forker
from tests.acceptance.house import PRODUCTION, House

WEEK = 'days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]'
STAGES = '[[stage]]\nname = "scan"\n\n[[stage]]\nname = "grade"\nafter = ["scan"]\n'


@pytest.fixture
def house(forker: Forker, tmp_path: Path) -> House:
    house = House(forker, tmp_path)
    text = PRODUCTION.replace(
        "mends = true", f'stages = ["scan"]\n[[site.shift]]\n{WEEK}\nfrom = "06:00"\nto = "06:00"'
    )
    text = text.replace(
        'zone = "Asia/Tokyo"',
        f'zone = "Asia/Tokyo"\nstages = ["grade"]\nline = 8\n[[site.shift]]\n{WEEK}\nfrom = "06:00"\nto = "06:00"\n'
        '[[site.closed]]\nfrom = 2020-01-01\nto = 2200-01-01\nwhy = "the house moves"',
    )
    (tmp_path / "quillmark.toml").write_text(text + STAGES, encoding="utf-8")
    house.create()
    return house


def test_everybody_sees_who_is_awake_and_what_is_on_its_way(house: House):
    house("halifax", "claim", "scan/A/R01")
    scanned = house.scan("scan", count=12)
    made = house.told("halifax", "send", scanned, "A/R01", "--at-once")
    size = sum(file.stat().st_size for file in scanned.iterdir())

    facts = house.told("tokyo", "who")
    sites = {site["site"]: site for site in facts["sites"]}  # type: ignore[attr-defined]
    assert facts["tz_release"]
    assert (sites["halifax"]["awake"], sites["halifax"]["closes"]) == (True, None), "round the clock"
    assert (sites["tokyo"]["awake"], sites["tokyo"]["opens"]) == (False, None)
    assert sites["tokyo"]["day_off"] == "the house moves"
    assert [(each["version"], each["bytes"]) for each in sites["tokyo"]["coming"]] == [(made["version"], size)]

    assert facts["taken_for_granted"] == [], "both houses that work gave their hours"
    text = house("lisbon", "who").out
    assert "asleep, and no shift in sight (the house moves)" in text
    assert "█" * 48 in text
    assert "·" * 48 in text


def test_frames_that_a_site_has_already_are_not_on_their_way(house: House):
    house("halifax", "claim", "scan/A/R01")
    scanned = house.scan("scan", count=12)
    house("halifax", "send", scanned, "A/R01", "--at-once")
    house("tokyo", "fetch", "A/R01", "arrived")
    house("tokyo", "claim", "grade/A/R01")
    house("lisbon", "return", "scan/A/R01", "--reasons", "one frame is torn")
    house("halifax", "claim", "scan/A/R01")
    changed = next(scanned.iterdir())
    changed.write_bytes(b"mended" * 100)
    made = house.told("halifax", "send", scanned, "A/R01", "--at-once")
    house("lisbon", "ask", "grade", "A/R01", "--reason", "again", "--prefers", "tokyo")

    coming = next(site for site in house.told("lisbon", "who")["sites"] if site["site"] == "tokyo")["coming"]  # type: ignore[attr-defined]
    assert [(each["version"], each["bytes"]) for each in coming] == [(made["version"], 600)]


def test_hours_that_nobody_gave_are_told_as_taken_for_granted(forker: Forker, tmp_path: Path):
    bare = House(forker, tmp_path)
    (tmp_path / "quillmark.toml").write_text(PRODUCTION.replace("mends = true", 'stages = ["scan"]') + STAGES)
    bare.create()
    assert "Taken for granted: weekdays from 9 to 5 by their own clocks, for halifax" in bare("tokyo", "who").out


def test_a_receipt_keeps_what_the_line_carried(house: House):
    house("halifax", "claim", "scan/A/R01")
    scanned = house.scan("scan", count=12)
    house("halifax", "send", scanned, "A/R01", "--at-once")
    house("tokyo", "fetch", "A/R01", "arrived")
    shown = house.told("lisbon", "ledger", "show")["entries"]
    (receipt,) = [word for entry in shown for word in entry["words"] if word["word"] == "receipt-signed"]  # type: ignore[attr-defined]
    assert receipt["carried"] == sum(file.stat().st_size for file in scanned.iterdir())
    assert receipt["took"] >= 1
