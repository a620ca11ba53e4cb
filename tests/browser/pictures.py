"""Takes pictures of every page of the board, in light, dark, on a phone and on a wall: `make pictures`, then look."""

import struct
import sys
import tempfile
import time
import zlib
from pathlib import Path
from typing import Any

from relay.board.serve import Place, Running, app_at
from relay.ledger.words import VersionInspected
from relay.media.findings import Finding, Grade, Kind, Report
from relay.model import Digest, FrameRange, VersionName, digest_of
from relay.store.keys import object_key
from tests.unit.board.board_house import GRADER, BoardHouse
from tests.unit.board.busy_house import busy_house
from tests.unit.board.test_covering import lay_side_by_side

PAGES = {
    "now": "/",
    "reels": "/reels",
    "reel": "/reels/A/R01",
    "compared": "/reels/A/R01?before=A/R01/v1&after=A/R01/v2#compared",
    "jobs": "/jobs",
    "sites": "/sites",
    "forecast": "/forecast",
    "forecast-reels": "/forecast?by=reel&far=all",
    "supposed": "/forecast?far=days&if=tokyo+one+more+at+scan",
    "coverage-none": "/coverage",
    "ledger": "/ledger",
}
SHAPES: dict[str, dict[str, Any]] = {
    "light": {"viewport": {"width": 1360, "height": 900}, "color_scheme": "light"},
    "dark": {"viewport": {"width": 1360, "height": 900}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 360, "height": 740}, "color_scheme": "dark", "device_scale_factor": 2},
    "wall": {"viewport": {"width": 2560, "height": 1440}, "color_scheme": "dark"},
}
ONLY_WALL = {"now", "reels"}


def main(target: Path) -> None:
    """Take them all."""
    from playwright.sync_api import sync_playwright

    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        busy, quiet = busy_house(Path(place) / "busy"), BoardHouse(Path(place) / "quiet")
        quiet.opens()
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        _take(browser, busy, PAGES, target)
        _take(browser, quiet, {"now-quiet": "/", "jobs-quiet": "/jobs"}, target)
        _take(browser, seen_house(Path(place) / "seen"), {"reel-seen": "/reels/A/R01", "coverage": "/coverage"}, target)
        browser.close()


def seen_house(place: Path) -> BoardHouse:
    """Return a house in which two prints lie beside each other, and one was looked at."""
    house = BoardHouse(place)
    house.opens()
    lay_side_by_side(house)
    gap = Finding(
        kind=Kind.GAP,
        grade=Grade.BLOCKS,
        where="A_R01.#.dpx",
        frames=(FrameRange(first=86_410, last=86_412),),
        what="lacks 3 frames",
    )
    look = {
        "version": "A/R01/v1",
        "manifest": house.ledger(GRADER).follow().versions[VersionName("A/R01/v1")].manifest,
        "report": _stored(house, Report(findings=(gap,)).encode()),
        "sheet": _stored(house, _png(1200, 420)),
        "strip": _stored(house, _png(2400, 160)),
    }
    house.says(GRADER, VersionInspected(**look, blocking=1, warning=0))
    return house


def _stored(house: BoardHouse, body: bytes) -> Digest:
    house.store.create(object_key(digest_of(body)), body, digest_of(body))
    return digest_of(body)


def _png(wide: int, high: int) -> bytes:
    """Return rows of pictures in greys, as PNG (ISO/IEC 15948)."""
    rows = b"".join(
        b"\0" + bytes(20 if x % 100 < 6 or y % 80 < 6 else (x // 100 * 37 + y // 80 * 61) % 200 for x in range(wide))
        for y in range(high)
    )
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows)),
        (b"IEND", b""),
    )
    told = (
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(told)


def _take(browser: Any, house: BoardHouse, pages: dict[str, str], target: Path) -> None:
    homes = [house.home(site) for site in house.pens]
    for shape, about in SHAPES.items():
        app = app_at(homes[0], homes[1:], Place(), once="let me look")
        with Running(app) as running:
            context = browser.new_context(base_url=running.address, timezone_id="Europe/Lisbon", **about)
            page = context.new_page()
            page.goto("/enter?key=let%20me%20look")
            page.goto("/reels/A/R01")
            time.sleep(8 if shape == "light" else 3)  # until the manifests were read
            for name, address in pages.items():
                if shape == "wall" and name not in ONLY_WALL:
                    continue
                page.goto(address)
                page.wait_for_timeout(700)
                page.screenshot(path=target / f"{name}-{shape}.png", full_page=shape != "wall")
            if shape == "light" and "reel" in pages:
                page.goto("/reels/A/R01")
                page.pdf(path=target / "reel-print.pdf")
            context.close()
            anonymous = browser.new_context(base_url=running.address, **about)
            page = anonymous.new_page()
            page.goto("/enter")
            page.screenshot(path=target / f"door-{shape}.png")
            anonymous.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
