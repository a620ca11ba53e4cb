"""What a lab hands in is held against the cut list among its inputs by the site that receives it."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from relay.errors import RefusedError
from relay.ledger import work
from relay.model import ReelName
from relay.programme.cutlist import CutList, Event
from relay.programme.own_form import own_form
from relay.transfer.handover import Sending, send
from tests.references.damage import titled, written
from tests.unit.workers.house import COORDINATOR, House, film
from workers.turn import Lane

REEL = "A/R001"
CUT = CutList(Fraction(24), (Event(ReelName("A/R001"), 3, 8, Fraction(16)),))


@pytest.fixture
def house(tmp_path: Path) -> House:
    """Halifax edits, Tokyo conforms; Oslo receives."""
    stages = [{"name": "edit"}, {"name": "put", "after": ["edit"], "conformed": True}]
    return House(tmp_path, film(stages, {COORDINATOR: [], "halifax": ["edit"], "tokyo": ["put"]}))


def handed_in(house: House, folder: Path, places: list[int]) -> None:
    folder.mkdir()
    (folder / "list.toml").write_text(own_form(CUT), encoding="utf-8")
    with house.desk("halifax") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "edit/A/R001")
        send(desk, Sending(folder, REEL, may_grow=True, job="edit/A/R001/1"))
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
    made = folder.parent / "made"
    made.mkdir()
    shown = list(CUT.shown())
    for place in places:
        body = written(made / "f.dpx", np.full((8, 8, 3), 900 * place, np.uint16))
        body = titled(body, shown[place].frame, 8, 24.0, None, b"")
        (made / f"q.{100 + place:07d}.dpx").write_bytes(body)
    (made / "f.dpx").unlink()
    with house.desk("tokyo") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "put/A/R001")
        send(desk, Sending(made, REEL, may_grow=True, job="put/A/R001/1"))


def test_the_receiver_says_how_it_lies_before_anybody_accepts(house: House, tmp_path: Path):
    handed_in(house, tmp_path / "edit", [0, 1, 2, 3, 4, 5, 7])
    with house.turn(COORDINATOR) as turn:
        turn.run(Lane.RECEIVE)
        with house.desk(COORDINATOR) as desk, pytest.raises(RefusedError, match="nobody held"):
            work.accept(desk.ledger, desk.pen, "put/A/R001")
        assert Lane.INSPECT in (turn.look(), turn.wanted())[1]
        assert turn.run(Lane.INSPECT) == 1
        assert turn.run(Lane.INSPECT) == 0
    (held,) = house.state().versions["A/R001/v2"].conforms
    assert (held.site, held.blocking) == (COORDINATOR, 1)
    with house.desk(COORDINATOR) as desk, pytest.raises(RefusedError, match="lies otherwise"):
        work.accept(desk.ledger, desk.pen, "put/A/R001")
