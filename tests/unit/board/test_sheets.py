"""Pages are kept for all who see the same: nobody is ever given another's."""

import asyncio
import gzip
import re
import secrets
from datetime import timedelta
from itertools import combinations

import httpx
import pytest
from markupsafe import escape

from relay.board.guard import is_token
from relay.board.people import People
from relay.board.rows.view import Outlook
from relay.board.seer import Foresight
from relay.board.serve import Place, app_at
from relay.board.sheets import LOOKED_AT, NAME, OP, SAID, TOKEN, Sheet, Sheets
from relay.errors import MissingError
from tests.unit.board.board_house import GRADER, RULER, SCANNER, TOKYO, BoardHouse, quillmark

PASSWORD = "an honest lamp"
PEOPLE = {
    "ines": ("coordinator", RULER),
    "rui": ("coordinator", RULER),
    "<b>odile": ("site", SCANNER),
    "haruka": ("site", TOKYO),
}
GUESTS = ("Copper Shelf Film Vault", "North Stair Picture Archive")
EVERYBODY = (*PEOPLE, *GUESTS, "monitoring")
PAGES = (
    "/",
    "/reels",
    "/reels?q=grade",
    "/reels/A/R01",
    "/reels/B/R01",
    "/reels/A/R01?before=A/R01/v1&after=A/R01/v1",
    "/jobs",
    "/jobs?which=mine",
    "/jobs?which=all",
    "/sites",
    "/forecast",
    "/coverage",
    "/ledger",
    "/ledger?before=9",
    "/nowhere",
)
OPS, TOKENS = (
    re.compile(r'name="op" value="([0-9a-f]+)"'),
    re.compile(r'"(?:token|relay-token)" (?:value|content)="(.*?)"'),
)

BY_SCRIPT = {"x-relay-anew": "yes"}
TOKENS_IN = re.compile(r'("(?:token|relay-token|op)" (?:value|content)=")[^"]*')
WHO = re.compile(f"(<span>)(?:{'|'.join(escape(each) for each in EVERYBODY)})(?=[,<])")


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """A board that does not follow: what is known stays as it is. It has Lisbon's key and Halifax's, not Tokyo's."""
    place = tmp_path_factory.mktemp("sheets")
    house = BoardHouse(place, quillmark())
    house.opens()
    house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER)
    house.delivers(SCANNER, "scan/B/R01/1", range(24), GRADER)
    house.claims(TOKYO, "scan/A/R02/1")
    house.opens()
    people = People(house.home(RULER).folder / "board")
    for name, (role, site) in PEOPLE.items():
        people.add(name, role, site, PASSWORD, house.clock.hour)
    until = house.clock.hour + timedelta(days=9)
    app = app_at(house.home(RULER), [house.home(SCANNER)], Place(), once=None)
    app.state.keys = {holder: people.issue(holder, "guest", holder, until) for holder in GUESTS}
    app.state.keys["monitoring"] = people.issue("monitoring", "machine", None, until)
    app.state.board.watch.look()
    app.state.cookies = {}  # whoever came in once need not be hashed again
    return app


async def came_in(app, who):
    line = httpx.ASGITransport(app=app)
    client = httpx.AsyncClient(transport=line, base_url="http://127.0.0.1", follow_redirects=True)
    if who == "monitoring":
        client.headers["authorization"] = f"Bearer {app.state.keys[who]}"
    elif who in app.state.cookies:
        client.cookies.update(app.state.cookies[who])
    elif who in PEOPLE:
        await client.post("/enter", data={"name": who, "password": PASSWORD})
    else:
        await client.get("/enter", params={"key": app.state.keys[who]})
    app.state.cookies[who] = client.cookies
    return client


def bare(text):
    """Return a page without what belongs to one session: as the page's script is given it."""
    return WHO.sub(r"\1", re.sub("<p>Not said:.*?</p>", "", TOKENS_IN.sub(r"\1", text)))


def plain(text):
    return TOKENS.sub("token", OPS.sub("op", text))


async def asked(app, who_and_pages, *, afresh, anew=False):
    """Return what everybody is told, by who and page; `afresh`: with nothing kept; `anew`: as a page's script asks."""
    clients = {who: await came_in(app, who) for who in EVERYBODY}
    told = {}
    for who, path in who_and_pages:
        if afresh:
            app.state.sheets, app.state.board._rows._moment = Sheets(), None
        told[who, path] = (await clients[who].get(path, headers=BY_SCRIPT if anew else {})).text
    return told


def within_a_minute(app, ask):
    """Return what `ask` returns, asked again where the minute, which pages tell, changed meanwhile."""
    ledger = app.state.board.seat.ledger
    while True:
        minute, told = ledger.now().replace(second=0), ask()
        if ledger.now().replace(second=0) == minute:
            return told


def test_whoever_asks_before_and_whoever_after_everybody_is_told_what_is_theirs(app):
    order = [(who, path) for path in PAGES for who in EVERYBODY]

    def thrice():
        alone = asyncio.run(asked(app, order, afresh=True))
        app.state.sheets = Sheets()
        return alone, asyncio.run(asked(app, order, afresh=False)), asyncio.run(asked(app, order[::-1], afresh=False))

    alone, after_others, before_others = within_a_minute(app, thrice)
    for key in order:
        assert "The door" not in alone[key], key
        assert plain(after_others[key]) == plain(alone[key]) == plain(before_others[key]), key
    kinds = [who for who in EVERYBODY if who != "rui"]
    for one, other in combinations(kinds, 2):
        differ = [path for path in PAGES if plain(alone[one, path]) != plain(alone[other, path])]
        assert len(differ) >= 9, (one, other, differ)  # or the comparison above would hold whatever was mixed up


def test_a_page_that_asks_for_itself_anew_is_told_what_it_was_told_but_for_what_is_its_session_s(app):
    order = [(who, path) for path in PAGES for who in EVERYBODY]

    def twice():
        alone = asyncio.run(asked(app, order, afresh=True))
        app.state.sheets = Sheets()
        return alone, asyncio.run(asked(app, order, afresh=False, anew=True))

    alone, anew = within_a_minute(app, twice)
    kept = [key for key in order if 'data-live="yes"' in alone[key]]  # faults are not
    assert len(kept) > 3 * len(order) / 4
    for key in kept:
        assert anew[key] == bare(alone[key]), key
        assert not re.search(r'"(?:token|op)" value="[^"]', anew[key]), key
    assert all(anew["ines", path] == anew["rui", path] for who, path in kept if who == "ines")


def test_a_page_that_asks_for_itself_anew_is_given_it_as_it_was_compressed_once(app):
    async def thrice():
        client = await came_in(app, "ines")
        async with client.stream("GET", "/jobs", headers=BY_SCRIPT) as zipped:
            body = b"".join([part async for part in zipped.aiter_raw()])
        plain_ = await client.get("/jobs", headers=BY_SCRIPT | {"accept-encoding": "identity"})
        return zipped.headers, body, plain_

    headers, body, asked_plainly = asyncio.run(thrice())
    assert headers["content-encoding"] == "gzip"
    assert "accept-encoding" in headers["vary"].lower()
    assert gzip.decompress(body) == asked_plainly.content
    assert "content-encoding" not in asked_plainly.headers
    assert len(body) < len(asked_plainly.content) / 4


def test_two_who_see_the_same_have_tokens_buttons_and_names_of_their_own(app):
    async def two():
        clients = [await came_in(app, who) for who in ("ines", "rui")]
        del app.state.cookies["ines"]
        clients.append(await came_in(app, "ines"))
        return [[(await client.get(path)).text for path in PAGES] for client in clients]

    told = asyncio.run(two())
    assert app.state.sheets._sheets, "nothing was kept: the test would hold without it"
    ops = [op for pages in told for text in pages for op in OPS.findall(text)]
    assert len(set(ops)) == len(ops) > 20
    tokens = [{token for text in pages for token in TOKENS.findall(text)} for pages in told]
    assert not tokens[0] & tokens[1] | tokens[0] & tokens[2]
    assert len(tokens[0]) >= len(PAGES) - 1  # a fresh mask for every page
    assert [("ines" in pages[0], "rui" in pages[0]) for pages in told[:2]] == [(True, False), (False, True)]


def test_a_form_of_a_kept_page_counts_for_its_own_session_alone(app):
    async def two():
        ines, rui = [await came_in(app, who) for who in ("ines", "rui")]
        pages = [(await client.get("/jobs")).text for client in (ines, rui)]
        other = TOKENS.findall(pages[0])[-1]
        return (await rui.post("/leave", data={"token": other})).status_code, other, TOKENS.findall(pages[1])[-1]

    status, one, two_ = asyncio.run(two())
    assert status == 403
    assert len({one, two_}) == 2


def test_a_name_is_shown_as_it_was_written(app):
    async def page():
        return (await (await came_in(app, "<b>odile")).get("/")).text

    assert "&lt;b&gt;odile, Halifax" in asyncio.run(page())
    assert "slot-" not in asyncio.run(page())


def test_what_was_just_said_is_told_once_and_to_nobody_else(app):
    async def two():
        ines, rui = [await came_in(app, who) for who in ("ines", "rui")]
        token = TOKENS.findall((await ines.get("/jobs")).text)[-1]
        form = {"token": token, "back": "/jobs", "act": "claim", "job": "no/such/job/1", "op": "ab" * 16, "seen": "-"}
        said = (await ines.post("/act", data=form)).text
        return said, (await rui.get("/jobs")).text, (await ines.get("/jobs")).text

    said, to_other, later = asyncio.run(two())
    assert "Not said:" in said
    assert "Not said:" not in to_other + later


def test_slots_are_filled_and_what_looks_like_one_is_left_alone():
    token = secrets.token_hex(32)
    text = f"{TOKEN} {OP} slot-{'0' * 32}-token {NAME} {OP} {SAID}"
    shown, first, look, name, second, said = Sheet.of(text).filled(token=token, name="a<", said="b&c").split(" ")
    assert is_token(shown, token)
    assert first != second
    assert (look, name, said) == (f"slot-{'0' * 32}-token", "a&lt;", "<p>b&amp;c</p>")
    assert Sheet.of(TOKEN + SAID).filled(token="", name="", said="") == ""


def test_a_page_is_rendered_once_however_many_ask_until_something_changes():
    rendered = []

    def render():
        rendered.append(1)
        return Sheet.of(f"page {len(rendered)}")

    async def ask():
        sheets = Sheets()
        crowd = await asyncio.gather(*(sheets.get(lambda: 1, "now", render) for _ in range(9)))
        return {sheet.parts for sheet in crowd}, (await sheets.get(lambda: 2, "now", render)).parts

    assert asyncio.run(ask()) == ({("page 1",)}, ("page 2",))


def test_a_failure_is_told_and_not_kept():
    def fails():
        raise MissingError("not there yet")

    async def ask():
        sheets = Sheets()
        for _ in range(2):
            with pytest.raises(MissingError):
                await sheets.get(lambda: 1, "reel", fails)
        refused = await sheets.get(lambda: 1, "reel", lambda: Sheet.of("refused", 422))
        return refused.status, (await sheets.get(lambda: 1, "reel", lambda: Sheet.of("there"))).parts

    assert asyncio.run(ask()) == (422, ("there",))


def test_what_is_looked_at_is_rendered_ahead_until_nobody_asks_for_it_any_more():
    rendered = []

    def page(name, fails=False):
        def render():
            rendered.append(name)
            if fails:
                raise MissingError("not there yet")
            return Sheet.of(f"{name} {len(rendered)}")

        return render

    async def ask():
        sheets, change, told = Sheets(), 0, []

        def known():
            return change

        await sheets.get(known, "now", page("now"), ahead=True)
        await sheets.get(known, "what if", page("what if"))
        await sheets.get(lambda: "for ever", "still", page("still"), ahead=True)
        with pytest.raises(MissingError):
            await sheets.get(known, "gone", page("gone", fails=True), ahead=True)
        rendered.clear()
        for change in range(1, LOOKED_AT + 3):
            await sheets.renew()
            told.append([*rendered])
            if change == 1:
                before = len(rendered)
                assert (await sheets.get(known, "now", page("another"), ahead=True)).parts == ("now 2",)
                assert len(rendered) == before
        return told

    told = asyncio.run(ask())
    assert told[0] == ["gone", "now"]  # asked for last goes first; neither what could not look otherwise nor `what if`
    assert told[-1].count("gone") == LOOKED_AT
    assert told[-1].count("another") == LOOKED_AT
    assert "still" not in told[-1]


def test_another_forecast_changes_every_page_that_shows_one_and_only_those_are_rendered_anew(app):
    async def all_pages():
        client = await came_in(app, "ines")
        return [(await client.get(path, headers=BY_SCRIPT)).text for path in PAGES]

    def seen_and_foreseen():
        watch = app.state.board.watch
        app.state.sheets = Sheets()
        before = asyncio.run(all_pages())
        expected = app.state.board.seat.ledger.now() + timedelta(days=400)
        reels = dict.fromkeys(watch.picture.state.film().reel_names(), expected)
        outlook = Outlook(finish=expected, low=expected, high=expected, reels=reels)
        watch._foresee(Foresight(outlook=outlook, why_not=f"reckoned {secrets.token_hex(4)}"))
        kept = asyncio.run(all_pages())
        app.state.sheets = Sheets()
        return before, kept, asyncio.run(all_pages())

    before, kept, afresh = within_a_minute(app, seen_and_foreseen)
    number = re.compile('data-number="[0-9]+"')
    before, kept, afresh = ([number.sub("", plain(text)) for text in texts] for texts in (before, kept, afresh))
    assert kept == afresh
    changed = {path for path, one, two in zip(PAGES, before, kept, strict=True) if one != two}
    assert changed == {"/", "/reels", "/reels?q=grade", "/forecast"}


def test_whoever_goes_away_takes_the_page_from_nobody_else():
    async def ask():
        sheets = Sheets()
        going = asyncio.ensure_future(sheets.get(lambda: 1, "now", lambda: Sheet.of("here")))
        staying = asyncio.ensure_future(sheets.get(lambda: 1, "now", lambda: Sheet.of("anew")))
        await asyncio.sleep(0)
        going.cancel()
        return (await staying).parts

    assert asyncio.run(ask()) == ("here",)
