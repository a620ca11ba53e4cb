"""What a person does who has only a keyboard."""

from typing import Any


def tab_to(page: Any, name: str) -> None:
    """Press Tab until what is focused bears `name`."""
    for _ in range(60):
        page.keyboard.press("Tab")
        here = page.evaluate("document.activeElement.textContent.trim().replace(/\\s+/g, ' ')")
        if here == name:
            return
    raise AssertionError(f"Tab never came to {name!r}")


def claims_and_gives_back(page: Any, job: str, search: str, row: str, reason: str) -> None:
    """Go to the jobs, find the one that `search` finds, claim it and give it back; `row` is what shows it."""
    page.keyboard.press("g")
    page.keyboard.press("j")
    page.wait_for_url("**/jobs")
    page.keyboard.press("/")
    page.keyboard.type(search)
    page.wait_for_selector("#list > li:only-child")
    tab_to(page, f"Claim {job}")
    page.keyboard.press("Enter")
    page.wait_for_selector(f"{row}.is-claimed")
    tab_to(page, f"Give back… {job}")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type(reason)
    page.keyboard.press("Enter")
    page.wait_for_selector(f"{row}.is-open")
