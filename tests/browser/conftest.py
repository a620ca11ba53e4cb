"""A real browser, without a window, and boards for it to look at."""

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

from tests.conftest import missing
from tests.unit.board.conftest import house, serve

__all__ = ["house", "serve"]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    path = shutil.which("chromium") or shutil.which("google-chrome")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright: run these with `make browser`")
        raise
    if path is None:
        missing("chromium: apt install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def look(chromium: Any) -> Iterator[Any]:
    """Open a page of a board in a browser of its own, come in, and see that no request leaves the machine."""
    contexts, strayed = [], []

    def looked(board: Any, path: str = "/", **about: Any) -> Any:
        address = str(board.base_url).rstrip("/")
        here = {"base_url": address, "timezone_id": "Europe/Lisbon", "locale": "en-GB"}
        context = chromium.new_context(**here | about)
        contexts.append(context)
        context.set_default_timeout(40_000)
        context.add_cookies([{"name": c.name, "value": c.value, "url": address} for c in board.cookies.jar])
        page = context.new_page()
        page.on("request", lambda asked: None if asked.url.startswith(address) else strayed.append(asked.url))
        page.on("pageerror", lambda error: strayed.append(f"the script failed: {error}"))
        page.goto(path)
        return page

    yield looked
    for context in contexts:
        context.close()
    assert strayed == []
