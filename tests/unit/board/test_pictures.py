"""What a board shows of a version's pictures, findings, stills and papers, and to whom."""

import io
import re
from datetime import timedelta

import pytest
from PIL import Image

from relay.board.people import People
from relay.ledger.words import MaterialKept, VersionInspected
from relay.media.findings import Finding, Grade, Kind, Report
from relay.model import Digest, FrameRange, digest_of
from relay.store.keys import object_key
from tests.unit.board.board_house import GRADER, RULER, SCANNER, BoardHouse
from tests.unit.board.conftest import Serve

VERSION = "A/R01/v1"
SHEET = "/reels/A/R01/versions/1/sheet.png"


def png(grey: int) -> bytes:
    body = io.BytesIO()
    Image.new("L", (8, 6), grey).save(body, "PNG")
    return body.getvalue()


def stored(house: BoardHouse, body: bytes) -> Digest:
    house.store.create(object_key(digest_of(body)), body, digest_of(body))
    return digest_of(body)


@pytest.fixture
def looked_at(house: BoardHouse) -> BoardHouse:
    """The scan of the first reel lacks frames; a still was kept of it, and a paper about its element and another's."""
    house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER)
    gap = Finding(
        kind=Kind.GAP,
        grade=Grade.BLOCKS,
        where="A_R01.#.dpx",
        frames=(FrameRange(first=86410, last=86412),),
        what="lacks <3>",
    )
    house.says(
        GRADER,
        VersionInspected(
            version=VERSION,
            manifest=house.ledger(GRADER).follow().versions[VERSION].manifest,
            report=stored(house, Report(findings=(gap,)).encode()),
            blocking=1,
            warning=0,
            sheet=stored(house, png(40)),
            strip=stored(house, png(200)),
        ),
    )
    for about, name, body in (
        ("A/R01", "leader.png", png(90)),
        ("A", "report <1>.pdf", b"%PDF-1.7 <script>"),
        ("B", "can.txt", b"a can"),
    ):
        word = {"about": about, "name": name, "object": stored(house, body), "size": len(body)}
        house.says(SCANNER, MaterialKept.model_validate(word))
    return house


def entry_of(house: BoardHouse, name: str) -> int:
    return next(each.entry for each in house.ledger(RULER).follow().material if each.name == name)


def test_a_reels_page_shows_what_was_found_and_the_pictures_of_the_version(looked_at, serve: Serve):
    board = serve()
    page = board.sees("Blocks: gap", "/reels/A/R01")
    assert "files numbered 86410-86412. lacks &lt;3&gt;" in page.replace("</b>", "")
    assert SHEET in page
    picture = board.get(SHEET)
    assert (picture.headers["content-type"], picture.content) == ("image/png", png(40))
    assert "private" in picture.headers["cache-control"]
    assert picture.headers["x-content-type-options"] == "nosniff"
    assert board.get(SHEET.replace("sheet", "strip")).content == png(200)


def test_a_still_is_shown_and_a_paper_is_only_given_to_be_kept(looked_at, serve: Serve):
    board = serve()
    page = board.sees("leader.png", "/reels/A/R01")
    assert "report &lt;1&gt;.pdf" in page
    assert "can.txt" not in page
    assert board.get(f"/material/{entry_of(looked_at, 'leader.png')}").headers["content-type"] == "image/png"
    paper = board.get(f"/material/{entry_of(looked_at, 'report <1>.pdf')}")
    assert paper.headers["content-type"] == "application/octet-stream"
    assert paper.headers["content-disposition"] == "attachment; filename*=UTF-8''report%20%3C1%3E.pdf"  # RFC 6266


def test_an_archives_guest_sees_the_pictures_and_papers_of_its_own_elements_alone(looked_at, serve: Serve):
    board = serve(enters=False)
    people = People(looked_at.home(RULER).folder / "board")
    until = looked_at.clock.hour + timedelta(days=9)
    board.comes_in(people.issue("the archive", "guest", "North Stair Picture Archive", until))
    assert board.get(SHEET).status_code == 404
    assert board.get(f"/material/{entry_of(looked_at, 'leader.png')}").status_code == 404
    assert board.get(f"/material/{entry_of(looked_at, 'can.txt')}").content == b"a can"


def test_what_was_never_stored_or_never_said_is_missing(looked_at, serve: Serve):
    board = serve()
    board.sees("Blocks: gap", "/reels/A/R01")
    for path in ("/reels/A/R01/versions/2/sheet.png", "/reels/A/R02/versions/1/sheet.png", "/material/3"):
        assert board.get(path).status_code == 404
    assert board.get("/reels/A/R01/versions/1/thumbnails.png").status_code == 422


def test_bytes_that_are_not_what_their_name_says_are_not_shown(looked_at, serve: Serve):
    sheet = looked_at.store_folder / object_key(digest_of(png(40)))
    sheet.chmod(0o644)
    sheet.write_bytes(png(41))
    board = serve()
    board.sees("Blocks: gap", "/reels/A/R01")
    answer = board.get(SHEET)
    assert answer.status_code == 500
    assert "holds wrong bytes" in answer.text


def test_a_page_whose_findings_cannot_be_read_says_so_and_shows_the_rest(looked_at, serve: Serve):
    state = looked_at.ledger(RULER).follow()
    (looked_at.store_folder / object_key(state.versions[VERSION].inspections[0].report)).unlink()
    page = serve().sees("1 finding block", "/reels/A/R01")
    assert re.search(r"<b>Findings:</b> [^<]+", page)


def test_what_was_seen_is_decided_in_one_field_under_the_pictures(looked_at: BoardHouse, serve: Serve):
    asker = serve(SCANNER)
    page = asker.get("/reels/A/R01").text
    under = page.index('class="act near"')
    assert page.index(SHEET) < under < page.index("</details>", under)
    form = page[under : page.index("</form>", under)]
    hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))
    assert hidden["seen"] == VERSION
    shown = re.findall(r'<(?:input|select) name="(\w+)"', form)
    assert shown == ["frames", "verdict", "because"]
    said = {**hidden, "verdict": "not used", "because": "=scratches", "frames": "3-4"}
    assert asker.post("/decide", data=said).status_code == 200
    (decision,) = looked_at.ledger(RULER).follow().decisions
    assert str(decision.word.place) == "A/R01:3-4"
    assert [(each.version, each.frames) for each in decision.word.evidence] == [(VERSION, decision.word.place.frames)]
