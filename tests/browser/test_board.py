"""The board as people use it: looked at, clicked and typed into, with the ledger changing beside it."""

import re
from typing import Any

import pytest

from relay.ledger.job_state import Standing
from tests.browser.keyboard import claims_and_gives_back
from tests.unit.board.board_house import GRADER, RULER, SCANNER, TOKYO
from tests.unit.board.busy_house import busy_house

pytestmark = pytest.mark.browser
JOB = "scan/A/R01/1"
ROW = "#job-scan-A-R01-1"
PAGES = ("/", "/reels", "/reels/A/R01", "/jobs", "/sites", "/forecast", "/forecast?by=reel&far=all", "/ledger")


def job(house: Any) -> Any:
    return house.ledger(RULER).follow().jobs[JOB]


def test_from_claim_to_accept_without_loading_a_page_again(house, serve, look):
    scanner, ruler = look(serve(SCANNER), "/jobs"), look(serve(RULER), "/jobs")
    scanner.click(f"{ROW} button:has-text('Claim')")
    scanner.wait_for_selector(f"{ROW}.is-claimed")
    ruler.wait_for_selector(f"{ROW}.is-claimed")
    made = house.hands_in(SCANNER, JOB, range(24))
    ruler.wait_for_selector(f"{ROW}.is-handed-in")
    house.receives(GRADER, made)
    ruler.click(f"{ROW} button:has-text('Accept')")
    ruler.wait_for_selector("#said:has-text('accepted')")
    assert job(house).standing is Standing.ACCEPTED


def test_a_refused_arrival_appears_by_itself(house, serve, look):
    house.claims(SCANNER, JOB)
    page = look(serve())
    assert page.inner_text("#card h1") == "Nothing is wrong."
    made = house.hands_in(SCANNER, JOB, range(24))
    fault = {"path": "A_R01.0086412.dpx", "what": "changed", "where": "bucket"}
    house.receives(GRADER, made, [fault])
    page.wait_for_selector("#card h1:has-text('Kolkata refused A/R01/v1')")
    assert "REFUSED" in page.inner_text("#needs").upper()


def test_of_two_browsers_that_claim_at_once_one_is_told_that_the_other_was_first(house, serve, look):
    pages = [look(serve(site), "/jobs") for site in (SCANNER, TOKYO)]
    for page in pages:
        page.evaluate(f"document.querySelector('{ROW} form.act button').click()")
    said = []
    for page in pages:
        page.wait_for_selector("#said:has-text('claimed by'), #said:has-text('Not said')")
        said.append(page.inner_text("#said"))
    assert sum("Not said" in words for words in said) == 1, said
    assert job(house).claim.site in {SCANNER, TOKYO}


def test_a_double_click_says_it_once(house, serve, look):
    page, before = look(serve(SCANNER), "/jobs"), house.ledger(RULER).follow().sequence
    page.dblclick(f"{ROW} button:has-text('Claim')")
    page.wait_for_selector(f"{ROW}.is-claimed")
    page.wait_for_selector("#said:has-text('claimed by halifax')")
    assert house.ledger(RULER).follow().sequence == before + 1


def test_the_keyboard_alone_claims_and_gives_back(house, serve, look):
    page = look(serve(SCANNER))
    claims_and_gives_back(page, "scan/A/R01/1", "A/R01", ROW, "the gate jams")
    assert job(house).reason == "the gate jams"


def test_what_is_being_typed_outlasts_a_change(house, serve, look):
    house.claims(SCANNER, JOB)
    page = look(serve(SCANNER), "/jobs")
    page.click(f"{ROW} summary:has-text('Give back')")
    page.fill(f"{ROW} input[name=reason]", "half a sentence")
    house.claims(TOKYO, "scan/A/R02/1")
    page.wait_for_selector("#job-scan-A-R02-1.is-claimed")
    assert page.input_value(f"{ROW} input[name=reason]") == "half a sentence"


def test_a_store_that_is_away_is_said_and_taken_back(house, serve, look):
    page = look(serve(), "/reels/A/R01")
    away = house.store_folder.with_name("unplugged")
    house.store_folder.rename(away)
    page.wait_for_selector("#warn:has-text('has not answered since')")
    away.rename(house.store_folder)
    page.wait_for_selector("#warn:not(:has-text('has not answered'))", state="attached")


def test_a_board_that_is_away_is_said_by_the_page_itself(house, serve, look):
    board = serve()
    page = look(board)
    page.route("**/live", lambda route: route.abort())
    page.reload()
    page.wait_for_selector("#cut:has-text('No line to the board since')")
    page.unroute("**/live")
    house.claims(SCANNER, JOB)
    page.wait_for_selector("#cut", state="hidden")
    page.wait_for_selector("#turns:has-text('finish the scan of A/R01')")


@pytest.fixture(scope="session")
def busy(tmp_path_factory):
    return busy_house(tmp_path_factory.mktemp("busy"))


@pytest.fixture
def busy_board(busy):
    from relay.board.serve import Place, Running, app_at
    from tests.unit.board.asking import Asker

    homes = [busy.home(site) for site in busy.pens]
    with Running(app_at(homes[0], homes[1:], Place(), once="sesame")) as running, Asker(running.address) as asker:
        asker.comes_in("sesame")
        yield asker


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_on_any_page(busy_board, look, scheme):
    from axe_playwright_python.sync_playwright import Axe

    page = look(busy_board, color_scheme=scheme, reduced_motion="reduce")
    found = []
    for path in (*PAGES, "/jobs?which=all", "/reels?q=nothing", "/enter", "/nowhere"):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        for violation in Axe().run(page).response["violations"]:
            if violation["impact"] in {"serious", "critical"}:
                nodes = [node["html"][:160] + node["failureSummary"][:300] for node in violation["nodes"][:3]]
                found.append((path, violation["id"], nodes))
    assert found == []


def test_no_page_is_wider_than_a_phone(busy_board, look):
    page = look(busy_board, viewport={"width": 360, "height": 740})
    for path in PAGES:
        page.goto(path)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 360, (path, wide)


def test_a_wall_screen_shows_what_is_wrong_who_has_the_move_and_who_is_awake_without_scrolling(busy_board, look):
    page = look(busy_board, viewport={"width": 2560, "height": 1440})
    boxes = [page.locator(f".at-{part} h2").first.bounding_box() for part in ("needs", "turns", "awake")]
    assert len({round(box["y"]) for box in boxes}) == 1
    assert [box["x"] for box in boxes] == sorted(box["x"] for box in boxes)
    assert boxes[0]["y"] < 720, "the card leaves half of the screen"
    last = page.locator("#turns > li").last.bounding_box()
    assert last["y"] + last["height"] <= 1440
    for path in PAGES:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 2560, path


def test_a_reel_s_page_is_printed_black_on_white_without_what_only_a_screen_can_do(busy_board, look):
    page = look(busy_board, "/reels/A/R01", color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    for what in (".pages", ".who", ".acts", ".compare", ".decide", ".keys"):
        assert page.locator(what).count(), what
        assert not page.locator(what).first.is_visible(), what
    for what in ("h1", ".strip", ".caution", "#jobs li", "#versions li", "#lines li"):
        assert page.locator(what).first.is_visible(), what
    colours = "({ color, backgroundColor }) => [color, backgroundColor]"
    assert page.evaluate(f"({colours})(getComputedStyle(document.body))") == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.pdf(format="A4").startswith(b"%PDF-")


def test_what_is_supposed_is_drawn_under_today_s_plan_over_the_same_hours(busy_board, look):
    page = look(busy_board, "/forecast?far=days")
    page.wait_for_selector("#plan", timeout=30_000)
    page.click("summary:has-text('One more hand')")
    page.select_option("details[open] select[name=site]", TOKYO)
    page.select_option("details[open] select[name=stage]", "conform")
    page.click("details[open] button:has-text('Show')")
    page.wait_for_selector("h2:has-text('And if tokyo one more at conform')")
    words = page.locator(".axis text").all_text_contents()
    assert words[: len(words) // 2] == words[len(words) // 2 :]
    assert "sooner" in page.inner_text("main")
    page.click("a:has-text('take back')")
    page.wait_for_selector("h2:has-text('And if')", state="detached")


def test_times_are_the_reader_s_own_with_utc_beside(busy_board, look):
    page = look(busy_board, "/ledger")
    shown = page.locator("#lines time").first
    assert re.fullmatch(r"\d+ \w+ \d\d:\d\d UTC", shown.get_attribute("title"))
    assert "UTC" not in shown.inner_text()
    assert "Europe/Lisbon" in page.inner_text(".foot")


BARE = """
() => {
  const told = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) told.push(walk.currentNode.data);
  for (const each of document.querySelectorAll("[aria-label]")) told.push(each.getAttribute("aria-label"));
  return told.filter((words) => /\\d\\d:\\d\\d UTC/.test(words));
}
"""


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/St_Johns"])
def test_no_time_on_any_page_is_in_utc_alone(busy_board, look, zone):
    page = look(busy_board, "/forecast", timezone_id=zone)
    page.wait_for_selector("#plan", timeout=30_000)
    for path in (*PAGES, "/forecast?far=weeks&if=tokyo+one+more+at+scan", "/jobs?which=all"):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        assert page.evaluate(BARE) == [], path
        own = page.locator(".own:not([hidden])").all_inner_texts()
        assert all(re.search(r"\w{3} \d\d:\d\d (in \w+|there)", words) for words in own)
        assert zone != "Asia/Tokyo" or not any("Tokyo" in words for words in own)
        assert own, path


def test_on_a_phone_the_first_page_answers_in_the_order_in_which_people_ask(busy_board, look):
    page = look(busy_board, viewport={"width": 360, "height": 740})
    asked = ("#card", "#turns", "#needs", "#band")  # wrong? whose move, and where is each reel? late? awake?
    tops = [page.locator(what).first.bounding_box()["y"] for what in asked]
    assert tops == sorted(tops)
    assert tops[1] < 740, "who has the move begins on the first screen"
    told = page.inner_text("#turns")
    for row in busy_board.get("/api/reels", params={"most": 100}).json()["reels"]:
        assert row["reel"] in told


def test_nothing_moves_where_motion_is_not_wanted(house, serve, look):
    page = look(serve(), "/jobs", reduced_motion="reduce")
    house.claims(SCANNER, JOB)
    page.wait_for_selector(f"{ROW}.is-claimed")
    assert page.evaluate("document.getAnimations().length") == 0
