"""An automatic stage makes the reference copy after the scan was accepted: a derived version, tied to its source."""

from pathlib import Path

import av
import numpy as np
import pytest

from relay.errors import RefusedError
from relay.ledger import work
from relay.transfer.handover import Sending, send
from tests.references.damage import FIRST, titled, written
from tests.unit.workers.house import COORDINATOR, House, film
from workers.kinds import KINDS
from workers.kinds.reference_copy import program
from workers.turn import Lane

GRAIN = np.random.default_rng(5)


@pytest.fixture
def house(tmp_path: Path) -> House:
    stages = [
        {"name": "scan"},
        {"name": "copy", "after": ["scan"], "command": ["reference-copy", "h264"], "opens_on": "acceptance"},
    ]
    return House(tmp_path, film(stages, {COORDINATOR: [], "halifax": ["scan"], "tokyo": ["copy"]}))


def test_the_copy_is_made_after_acceptance_and_handed_in_as_a_version_of_the_scan(house: House, tmp_path: Path):
    folder = tmp_path / "scan"
    folder.mkdir()
    for at in [0, 1, 2, 4, 5]:  # number 3 lacks
        picture = GRAIN.integers(9000, 50000, (90, 120, 3), dtype=np.uint16)
        body = titled(written(tmp_path / "f.dpx", picture), at, 6, 18.0, None, b"")
        (folder / f"A_R001.{FIRST + at:07d}.dpx").write_bytes(body)
    with house.desk("halifax") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
        send(desk, Sending(folder, "A/R001", may_grow=True, job="scan/A/R001/1"))
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
        assert turn.run(Lane.DO) == 0  # not accepted yet
        with house.desk(COORDINATOR) as desk:
            work.accept(desk.ledger, desk.pen, "scan/A/R001")
            work.open_due(desk.ledger, desk.pen)
        assert turn.run(Lane.DO) == 1
    state = house.state()
    made = state.versions["A/R001/v2"]
    assert state.jobs["copy/A/R001/1"].outcome == made.name
    assert made.parents == ("A/R001/v1",)
    (movie,) = (house.places("tokyo").sent / "A_R001_v2").iterdir()
    assert movie.name == "A_R001_reference.mov"
    with av.open(str(movie)) as container:
        assert sum(1 for _ in container.decode(video=0)) == 8  # six places of the reel, at 18 of 24


def test_a_word_that_means_nothing_is_refused_with_those_that_do(house: House, tmp_path: Path):
    with house.desk("halifax") as desk:
        work.open_due(desk.ledger, desk.pen)
        state = desk.ledger.follow()
    job = state.jobs["scan/A/R001/1"]
    with pytest.raises(RefusedError, match="0 inputs"):
        program(state, job, tmp_path, tmp_path, tmp_path, [])
    assert set(KINDS) == {"programme-movie", "reference-copy"}
