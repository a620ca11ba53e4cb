"""The coordinator's worker puts prints of one reel side by side, once, and again when people pinned a place."""

from pathlib import Path

import numpy as np
import pytest

from relay.errors import RefusedError
from relay.ledger.pin_words import PlacePinned
from relay.ledger.state import Alignment
from relay.ledger.words import VersionInspected
from relay.media.thumbnails import Thumbnails
from relay.model import digest_of
from relay.programme.framemap import FrameMap
from relay.transfer import aligning
from relay.transfer.aligning import align
from relay.transfer.handover import Sending, send
from relay.transfer.maps import Shelf
from relay.transfer.sender import Sender
from tests.references.prints import LEVELS, drawn_source, struck
from tests.unit.workers.house import COORDINATOR, House, fill, film, reel_of_frames
from workers.turn import Lane

GREY = struck(31, drawn_source(31, 90), LEVELS["mild"], 0).grey[:60]
LACKED = slice(30, 42)


@pytest.fixture
def house(tmp_path: Path) -> House:
    production = film([], {COORDINATOR: [], "halifax": ["scan"]})
    element = production.elements[0]
    other = element.model_copy(update={"code": "B"})
    return House(tmp_path, production.model_copy(update={"elements": (element, other)}))


def sent(house: House, reel: str, grey: np.ndarray) -> None:
    """Send a version, and say that somebody looked at it: `grey` is what they saw."""
    kept = Thumbnails(86400, 18)
    kept.grey.update(enumerate(grey, start=86400))
    body = kept.stored()
    folder = fill(house.root / reel.replace("/", "_"), reel_of_frames())
    with house.desk("halifax") as desk:
        version = send(desk, Sending(folder, reel)).version
        Sender(desk.store, desk.notebook, frozenset()).put(digest_of(body), memoryview(body), "thumbnails")
        seen = VersionInspected(
            version=version.name,
            manifest=version.manifest,
            report=digest_of(b"none"),
            blocking=0,
            warning=0,
            thumbnails=digest_of(body),
        )
        desk.ledger.append(desk.pen, lambda _state, _now: [seen])


def turned(house: House, site: str = COORDINATOR) -> int:
    with house.turn(site) as turn:
        turn.look()
        return turn.run(Lane.ALIGN) if Lane.ALIGN in turn.wanted() else 0


@pytest.fixture
def both(house: House) -> House:
    sent(house, "A/R001", GREY)
    sent(house, "B/R001", np.delete(GREY, LACKED, axis=0))
    return house


def told(house: House) -> tuple[Alignment, FrameMap]:
    with house.desk(COORDINATOR) as desk:
        state = desk.ledger.follow()
        (said,) = state.alignments
        return said, Shelf(desk, state).maps_from("A/R001/v1")["B/R001/v1"]


def test_two_prints_that_were_looked_at_are_put_side_by_side_once_by_the_coordinator(both: House):
    assert turned(both, "halifax") == 0
    assert turned(both) == 1
    assert turned(both) == 0
    said, found = told(both)
    assert (said.one, said.other, said.site, said.frames) == ("A/R001/v1", "B/R001/v1", COORDINATOR, 60)
    (lacking,) = found.there.lacking()
    assert (lacking.frames.first, lacking.frames.last) == (30, 41)
    assert found.back.at(30).other == 42
    assert found.back.lacking() == ()
    with both.desk(COORDINATOR) as desk:
        shelf = Shelf(desk, desk.ledger.follow())
        assert shelf.maps_from("A/R001/v1")["B/R001/v1"] is shelf.maps_from("A/R001/v1")["B/R001/v1"]  # doubted once


def test_one_print_alone_waits_for_another(house: House):
    sent(house, "A/R001", GREY)
    assert turned(house) == 0


def test_a_pin_is_kept_to_by_the_next_alignment_and_by_none_once_lifted(both: House):
    turned(both)
    before = told(both)[1]
    pin = PlacePinned(one="B/R001", frame=10, other="A/R001", other_frame=12)
    entry = said(both, pin)
    assert turned(both) == 1
    bound, found = told(both)
    assert bound.pins == (entry,)
    assert found.there.at(12)[:3] == (10, 100, True)
    said(both, pin.model_copy(update={"other_frame": None}))
    assert turned(both) == 1
    assert told(both)[1] == before


def said(house: House, word: PlacePinned) -> int:
    with house.desk("halifax") as desk:
        return desk.ledger.append(desk.pen, lambda _state, _now: [word]).sequence


def test_a_pin_on_a_frame_without_a_picture_is_told(both: House):
    pin = PlacePinned(one="A/R001", frame=900, other="B/R001", other_frame=12)
    with both.desk(COORDINATOR) as desk:
        desk.ledger.append(desk.pen, lambda _state, _now: [pin])
        state = desk.ledger.follow()
        with pytest.raises(RefusedError, match="frame 900, of which there is no thumbnail"):
            align(desk, state.version("A/R001"), state.version("B/R001"))


def test_without_the_libraries_a_worker_leaves_it_and_a_person_is_told(both: House, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(aligning, "find_spec", lambda _name: None)
    assert turned(both) == 0
    with both.desk(COORDINATOR) as desk:
        state = desk.ledger.follow()
        with pytest.raises(RefusedError, match=r"relay-handoff\[programme\]"):
            align(desk, state.version("A/R001"), state.version("B/R001"))
