"""The coordinator's worker compares each later version with what is left as it is, once; a person has the word."""

from pathlib import Path

import numpy as np
import pytest

from relay.ledger.deciding import decide, judge
from relay.ledger.decision_words import DecisionMade, Region, RegionJudged
from relay.ledger.left import to_compare, to_judge
from relay.model import FrameRange, Place
from relay.transfer import keeping
from relay.transfer.handover import Sending, send
from tests.references.kept_details import case
from tests.references.pictures import write_dpx
from tests.unit.workers.house import COORDINATOR, House, fill, film
from workers.turn import Lane

REEL = "A/R001"


def frames(folder: Path, pictures: np.ndarray) -> Path:
    folder.mkdir()
    for at, picture in enumerate(pictures):
        grey = (np.clip(picture, 0, 1) * 65535).astype(np.uint16)
        write_dpx(folder / f"a.{86400 + at:07d}.dpx", np.repeat(grey[:, :, None], 3, axis=2), at)
    return folder


def sent(house: House, folder: Path) -> None:
    with house.desk("halifax") as desk:
        send(desk, Sending(folder, REEL))


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A hair in the gate is left as it is; then come a cleaning that took it, a grade, and a movie."""
    house = House(tmp_path, film([], {COORDINATOR: [], "halifax": ["scan"]}))
    cleaned, graded = (case(5, is_cleaned=is_cleaned, frames=3) for is_cleaned in (True, False))
    sent(house, frames(tmp_path / "scan", graded.before))
    x, y, width, height = graded.box
    region = Region(version=f"{REEL}/v1", x=x, y=y, width=width, height=height)
    place = Place(about=REEL, frames=(FrameRange(first=0, last=2),))
    with house.desk(COORDINATOR) as desk:
        decide(
            desk.ledger, desk.pen, DecisionMade(place=place, verdict="left as it is", because="a hair", region=region)
        )
    sent(house, frames(tmp_path / "cleaned", cleaned.after))
    sent(house, frames(tmp_path / "graded", graded.after))
    sent(house, fill(tmp_path / "movie", {"reel.mov": b"moving" * 50}))
    return house


def turned(house: House, site: str = COORDINATOR) -> int:
    with house.turn(site) as turn:
        turn.look()
        return turn.run(Lane.ALIGN) if Lane.ALIGN in turn.wanted() else 0


def test_each_later_version_is_compared_once_and_waits_for_a_persons_word(
    house: House, monkeypatch: pytest.MonkeyPatch
):
    assert [name for _, name in to_compare(house.state())] == [f"{REEL}/v2", f"{REEL}/v3", f"{REEL}/v4"]
    assert turned(house, "halifax") == 0
    with monkeypatch.context() as lacking:
        lacking.setattr(keeping, "find_spec", lambda _name: None)
        assert turned(house) == 0
    assert turned(house) == 3
    assert turned(house) == 0
    state = house.state()
    assert [(each.version, each.compared, bool(each.flagged), bool(each.crops)) for each in state.comparisons] == [
        (f"{REEL}/v2", 3, True, True),
        (f"{REEL}/v3", 3, False, True),
        (f"{REEL}/v4", 0, False, False),
    ]
    assert [each.version for each in to_judge(state)] == [f"{REEL}/v2", f"{REEL}/v3"]
    with house.desk(COORDINATOR) as desk:
        word = RegionJudged(decision=state.decisions[0].entry, version=f"{REEL}/v2", stands=False)
        assert judge(desk.ledger, desk.pen, word) is not None
        assert judge(desk.ledger, desk.pen, word) is None
    assert [each.version for each in to_judge(house.state())] == [f"{REEL}/v3"]
