"""What a browser has to load and how long a reader waits, with 500 reels and 20,000 entries: headless Chromium.

    python -m tests.bench.board_browser

The board runs in a process of its own. Told are what the first visit transfers, when the page can be used (its script
has run), how long after an entry an open page was told of it, and how long after that it showed it.
"""

import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from relay.board.people import People
from relay.clock import SYSTEM_CLOCK
from relay.ledger import work
from relay.ledger.ledger import Ledger
from tests.bench.board import ENTRIES, REELS, founded
from tests.unit.ledger.scene import COORDINATOR, pen

PAGES = ("/", "/reels", "/jobs", "/reels/A/R01", "/forecast", "/ledger")
VISITS, UPDATES = 7, 12
PASSWORD = "seven lamps over quillmark"
ROOT = Path(__file__).parents[2]

# Notes when the line to the board brought a change, before the page's own script hears of it.
WATCHES = """
window.EventSource = class extends EventSource {
  constructor(address) {
    super(address);
    this.addEventListener("message", () => { window.toldAt = Date.now(); });
  }
};
"""
SHOWN = """
([row, words]) => new Promise((done) => {
  const look = () => {
    if (document.querySelector(row)?.textContent.includes(words)) { done([window.toldAt, Date.now()]); return true; }
  };
  if (!look()) {
    const watch = new MutationObserver(() => { if (look()) watch.disconnect(); });
    watch.observe(document.body, { childList: true, subtree: true });
  }
})
"""
USABLE = "() => Math.round(performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd)"


def opened(browser: Any, address: str) -> Any:
    """Return a page of a browser that was never here before, signed in."""
    context = browser.new_context(base_url=address)
    context.add_init_script(WATCHES)
    answer = context.request.post("/enter", form={"name": "ines", "password": PASSWORD})
    assert answer.ok
    return context.new_page()


def first_visit(browser: Any, address: str, path: str) -> tuple[int, int]:
    """Return the bytes that a first visit transfers, and after how many ms the page can be used."""
    page, told = opened(browser, address), []
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.on("Network.loadingFinished", lambda event: told.append(event["encodedDataLength"]))
    page.goto(path)
    page.wait_for_function("() => performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
    usable = page.evaluate(USABLE)
    page.context.close()
    return int(sum(told)), usable


def updates(page: Any, ledger: Ledger, path: str, row: str) -> tuple[list[float], list[float]]:
    """Return how many ms after each of some entries the page was told, and how many later it showed what changed."""
    page.goto(path)
    time.sleep(5)
    told, shown, job = [], [], next(iter(ledger.state.jobs))
    for number in range(UPDATES):
        words = f"{'claimed' if number % 2 == 0 else 'open'} {job}"
        page.evaluate(f"window.shown = ({SHOWN})({json.dumps([row, words])}); 0")
        if number % 2 == 0:
            work.claim(ledger, pen(COORDINATOR), job)
        else:
            work.release(ledger, pen(COORDINATOR), job, "the print is wanted elsewhere")
        said = 1000 * time.time()
        at, then = page.evaluate("window.shown")
        told.append(at - said)
        shown.append(then - at)
        time.sleep(1.3)
    return told, shown


def main() -> None:
    """Build, serve, look, print."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as place:
        home, ledger = founded(Path(place), REELS, ENTRIES)
        work.open_due(ledger, pen(COORDINATOR))
        People(home.folder / "board").add("ines", "coordinator", COORDINATOR, PASSWORD, SYSTEM_CLOCK.now())
        command = [sys.executable, "-m", "tests.bench.board_load", "serve", str(home.folder)]
        with (
            subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as board,
            sync_playwright() as drive,
        ):
            assert board.stdout is not None
            address = json.loads(board.stdout.readline())
            browser = drive.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            try:
                _look(browser, address, ledger)
            finally:
                browser.close()
                board.terminate()


def _look(browser: Any, address: str, ledger: Ledger) -> None:
    for path in PAGES:
        visits = [first_visit(browser, address, path) for _ in range(VISITS)]
        weight, took = max(each[0] for each in visits), [each[1] for each in visits]
        print(f"{path:14} {weight / 1000:6.1f} kB; can be used after {median(took):4.0f} ms, at worst {max(took)}")
    row = f"#job-{next(iter(ledger.state.jobs)).replace('/', '-')} .what"
    told, shown = updates(opened(browser, address), ledger, "/jobs", row)
    for what, took in (("told of an entry after", told), ("shown after that", shown)):
        print(f"{what}: {median(took):.0f} ms, p95 {quantiles(took, n=20)[18]:.0f}, at worst {max(took):.0f}")


if __name__ == "__main__":
    main()
