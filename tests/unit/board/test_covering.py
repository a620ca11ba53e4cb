"""The page of what each print holds: its drawing, its tables, and who may see it."""

from datetime import timedelta
from xml.etree import ElementTree as ET

from relay.board.people import People
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade
from relay.ledger.words import VersionsAligned
from relay.media.manifest import Manifest, PackedFile
from relay.model import VersionName, digest_of
from relay.programme.framemap import FrameMap, Match, stored_map
from relay.store.keys import object_key
from tests.unit.board.board_house import RULER, SCANNER, BoardHouse
from tests.unit.board.conftest import Serve


def lay_side_by_side(house: BoardHouse) -> VersionsAligned:
    """A has the frames 0 to 23, B of these 0 to 9 and 16 to 23 by numbers of its own, and of 20 it is not sure."""
    house.says(SCANNER, house.sends(SCANNER, "A/R01", range(24)))
    house.says(SCANNER, house.sends(SCANNER, "B/R01", range(100, 118), look="b"))
    shown = [*range(10), *range(16, 24)]
    b = {frame: 100 + place for place, frame in enumerate(shown)}
    there = {frame: Match(b.get(frame), 90, frame != 20) for frame in range(24)}
    back = {number: Match(frame, 90, frame != 20) for frame, number in b.items()}
    found = FrameMap.built(VersionName("A/R01/v1"), VersionName("B/R01/v1"), there, back)
    body = stored_map(found)
    house.store.create(object_key(digest_of(body)), body, digest_of(body))
    word = VersionsAligned(
        one=found.one, other=found.other, frame_map=digest_of(body), matched=18, sure=23, frames=24, pins=()
    )
    house.says(RULER, word)
    return word


def test_the_page_tells_in_a_table_what_its_drawing_shows(house: BoardHouse, serve: Serve):
    lay_side_by_side(house)
    asker = serve()
    page = asker.sees("A/R01/v1, frames 0 to 23", "/coverage")
    assert '<img src="/coverage/A.svg"' in page
    row = page.partition(">B/R01/v1</a>")[2].partition("</tr>")[0]
    assert "fine grain master" in row
    assert "75.0 %" in row
    assert "<td>20</td>" in row
    assert "6 frames: 10-15" in row
    picture = asker.get("/coverage/A.svg")
    assert picture.headers["content-type"] == "image/svg+xml"
    assert ET.fromstring(picture.text).find("{http://www.w3.org/2000/svg}title") is not None  # SVG 2, 5.8: its name
    assert 'href="/coverage/A.png"' in page
    painted = asker.get("/coverage/A.png")
    assert (painted.headers["content-type"], painted.content[:8]) == (
        "image/png",
        b"\x89PNG\r\n\x1a\n",
    )  # RFC 2083, 3.1 (memory)
    assert "along B" in page
    assert "B/R01/v1, frames 100 to 117" in asker.get("/coverage/B").text
    assert asker.get("/coverage/C").status_code == 404


MOVIE = b"moving" * 9


def is_made(house: BoardHouse, asked: int) -> None:
    """Say that the movie was made that an entry asks for, and store it."""
    manifest = Manifest.of([PackedFile("comparison.mov", len(MOVIE), digest_of(MOVIE))])
    for body in (MOVIE, manifest.encode()):
        house.store.create(object_key(digest_of(body)), body, digest_of(body))
    shown = {"size": len(MOVIE), "steps": 6, "shown": ("A/R01/v1", "B/R01/v1")}
    house.says(RULER, ComparisonMade(asked=asked, manifest=manifest.digest(), **shown))


def test_prints_in_step_are_asked_for_from_the_page_once_and_given_when_they_are_made(house: BoardHouse, serve: Serve):
    lay_side_by_side(house)
    asker = serve()
    asker.sees("Show them in step", "/coverage/A")
    form = {"token": asker.token(), "back": "/coverage/A", "version": "A/R01/v1", "frames": "4-9", "speed": "16"}
    assert "frames 4-9; entry" in asker.post("/comparisons", data=form).text
    assert "that was asked before" in asker.post("/comparisons", data=form).text
    (asked,) = house.ledger(RULER).follow().asked_comparisons
    assert (asked.word.prints, asked.word.rate) == (("A/R01/v1", "B/R01/v1"), "16")
    assert "waits for the worker" in asker.sees("In step", "/coverage/A")
    assert asker.get(f"/comparisons/{asked.entry}").status_code == 404
    wrong = {
        "frames": ("1-2,5", "no one range"),
        "speed": ("0", "0 frames a second"),
        "version": ("A/R01/v9", "Not said"),
    }
    for field, (text, why) in wrong.items():
        assert why in asker.post("/comparisons", data={**form, field: text}).text
    is_made(house, asked.entry)
    asker.sees(f'href="/comparisons/{asked.entry}"', "/coverage/A")
    given = asker.get(f"/comparisons/{asked.entry}")
    assert (given.content, given.headers["content-type"]) == (MOVIE, "video/quicktime")


def test_a_place_is_pinned_from_the_page_once_and_lifted_there(house: BoardHouse, serve: Serve):
    aligned = lay_side_by_side(house)
    asker = serve()
    asker.sees("Pin what shows the same", "/coverage/A")
    form = {"token": asker.token(), "back": "/coverage/A", "one": "A/R01:20", "other": "B/R01:115", "note": "a splice"}
    assert (
        "A/R01:20 shows what B/R01:115 shows: the next alignment keeps to it; entry"
        in asker.post("/pins", data=form).text
    )
    assert "that was said before" in asker.post("/pins", data=form).text
    turned = {**form, "one": form["other"], "other": form["one"]}
    assert "that was said before" in asker.post("/pins", data=turned).text
    (pin,) = house.ledger(RULER).follow().pins
    assert (pin.one, pin.frame, pin.other, pin.other_frame) == ("A/R01", 20, "B/R01", 115)
    assert "the next alignment keeps to it" in asker.sees("Lift this pin", "/coverage/A")
    assert "Lift this pin" in asker.get("/coverage/B").text
    house.says(RULER, aligned.model_copy(update={"pins": (pin.entry,)}))
    asker.sees("the newest alignment keeps to it", "/coverage/A")
    for field, text, why in (
        ("one", "A/R01:20-21", "not one frame of a reel"),
        ("other", "B/R01", "name a frame of the other print"),
        ("other", "A/R01:21", "both are of A/R01"),
        ("other", "Z/R01:3", "no reel Z/R01"),
    ):
        assert why in asker.post("/pins", data={**form, field: text}).text
    lifted = asker.post("/pins", data={**form, "other": "B/R01", "lift": "yes"}).text
    assert "A/R01:20 is not pinned any more" in lifted
    assert house.ledger(RULER).follow().pins == ()
    assert "there is none to lift" in asker.post("/pins", data={**form, "other": "B/R01", "lift": "yes"}).text


def test_before_prints_lie_side_by_side_the_page_says_how_they_come_to(serve: Serve):
    asker = serve()
    assert "No two prints were put side by side yet" in asker.sees("What each print holds", "/coverage")


def test_a_guest_sees_no_other_archives_prints(house: BoardHouse, serve: Serve):
    lay_side_by_side(house)
    word = ComparisonAsked(prints=("A/R01/v1", "B/R01/v1"), rate="18")
    asked = house.says(RULER, word).sequence
    is_made(house, asked)
    people = People(house.home(RULER).folder / "board")
    secret = people.issue("the vault", "guest", "North Stair Picture Archive", house.clock.hour + timedelta(days=9))
    guest = serve(enters=False)
    guest.comes_in(secret)
    assert 'href="/coverage"' not in guest.get("/").text
    assert guest.get(f"/comparisons/{asked}").status_code == 404
    pin = {"token": guest.token(), "back": "/", "one": "A/R01:20", "other": "B/R01:115"}
    assert "the vault may look, and say nothing" in guest.post("/pins", data=pin).text
    assert house.ledger(RULER).follow().pins == ()
    for page in ("/coverage", "/coverage/A", "/coverage/A.svg", "/coverage/A.png"):
        assert guest.get(page).status_code == 422
        assert "A/R01" not in guest.get(page).text
