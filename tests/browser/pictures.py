"""Takes pictures of every page of the board, in light, dark, on a phone and on a wall: `make pictures`, then look."""

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from relay.board.serve import Place, Running, app_at
from tests.unit.board.board_house import BoardHouse
from tests.unit.board.busy_house import busy_house

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
    "coverage": "/coverage",
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
        browser.close()


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
