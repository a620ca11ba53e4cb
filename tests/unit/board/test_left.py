"""Crops before and after on a reel's page, and the coordinator's yes or no, said once."""

import io

import pytest
from PIL import Image

from relay.ledger.decision_words import DecisionMade, Region, RegionCompared
from relay.model import FrameRange, Place, digest_of
from relay.store.keys import object_key
from tests.unit.board.board_house import GRADER, RULER, SCANNER, BoardHouse
from tests.unit.board.conftest import Serve

PAGE = "/reels/A/R01"


def crops() -> bytes:
    body = io.BytesIO()
    Image.new("L", (8, 6), 70).save(body, "PNG")
    return body.getvalue()


@pytest.fixture
def entry(house: BoardHouse) -> int:
    """The grade of the first reel seems to have lost a hair that its scan shows. Returns the decision's entry."""
    house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER)
    region = Region(version="A/R01/v1", x=4, y=4, width=9, height=9)
    frames = (FrameRange(first=3, last=9),)
    place = Place(about="A/R01", frames=frames)
    house.says(RULER, DecisionMade(place=place, verdict="left as it is", because="a <hair>", region=region))
    house.says(GRADER, house.sends(GRADER, "A/R01", range(24), look="graded"))
    body = crops()
    house.store.create(object_key(digest_of(body)), body, digest_of(body))
    entry = house.ledger(RULER).follow().decisions[0].entry
    house.says(
        RULER,
        RegionCompared(decision=entry, version="A/R01/v2", compared=7, flagged=frames, crops=digest_of(body)),
    )
    return entry


def test_the_coordinator_looks_at_the_crops_and_says_no_once(house: BoardHouse, entry: int, serve: Serve):
    asker = serve()
    page = asker.sees("seems to have lost it in 3-9: a person must look", PAGE)
    assert "a &lt;hair&gt;" in page
    asker.sees("A/R01/v2 seems to have lost what is left as it is in 3-9", "/")
    comparison = house.ledger(RULER).follow().comparisons[0].entry
    assert f'src="/left/{comparison}/crops.png"' in page
    picture = asker.get(f"/left/{comparison}/crops.png")
    assert (picture.headers["content-type"], picture.content) == ("image/png", crops())
    assert asker.get(f"/left/{entry}/crops.png").status_code == 404
    form = {"token": asker.token(), "back": PAGE, "decision": entry, "version": "A/R01/v2", "comparison": comparison}
    assert "compared anew since you looked" in asker.post("/judge", data={**form, "comparison": 1, "saw": "gone"}).text
    assert asker.post("/judge", data={**form, "saw": "perhaps"}).status_code == 422
    assert house.ledger(RULER).follow().judgements == ()
    assert asker.post("/judge", data={**form, "saw": "gone", "because": "filled in"}).status_code == 200
    assert "that was said before" in asker.post("/judge", data={**form, "saw": "gone", "because": "filled in"}).text
    (said,) = house.ledger(RULER).follow().judgements
    assert (said.by, said.stands, said.because) == (RULER, False, "filled in")
    assert 'action="/judge"' not in asker.sees("lost it, says Lisbon", PAGE)
    house.says(RULER, RegionCompared(decision=entry, version="A/R01/v2", compared=6, crops=digest_of(crops())))
    assert 'action="/judge"' in asker.sees("seems to have it: a person must look", PAGE)  # new crops, a new question


def test_a_site_sees_the_crops_and_only_the_coordinator_judges(house: BoardHouse, entry: int, serve: Serve):
    asker = serve(SCANNER)
    assert 'action="/judge"' not in asker.sees("seems to have lost it", PAGE)
    form = {"token": asker.token(), "back": PAGE, "decision": entry, "version": "A/R01/v2", "saw": "there"}
    comparison = house.ledger(RULER).follow().comparisons[0].entry
    said = asker.post("/judge", data={**form, "comparison": comparison}).text
    assert "Not said:" in said
    assert "by the coordinator" in said
    assert house.ledger(RULER).follow().judgements == ()
