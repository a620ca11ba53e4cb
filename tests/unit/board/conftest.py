"""Boards served on a port of their own, and somebody who asks them."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from relay.board import reckoning
from relay.board.serve import Place, Running, app_at
from tests import in_memory
from tests.unit.board.asking import Asker
from tests.unit.board.board_house import RULER, BoardHouse, quillmark

Serve = Callable[..., Asker]
tmp_path_factory = in_memory.tmp_path_factory


@pytest.fixture(autouse=True)
def _short_forecasts(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan of a few reels needs no second of every test."""
    monkeypatch.setattr(reckoning, "SECONDS", 0.05)
    monkeypatch.setattr(reckoning, "SUPPOSED_SECONDS", 0.05)


@pytest.fixture
def house(tmp_path: Path) -> BoardHouse:
    """A production whose first jobs are open."""
    house = BoardHouse(tmp_path, quillmark())
    house.opens()
    return house


@pytest.fixture
def serve(house: BoardHouse) -> Iterator[Serve]:
    """Serve the board of a site, that may speak for others as well; whoever sits there has come in."""
    with ExitStack() as stack:

        def served(site: str = RULER, *others: str, enters: bool = True) -> Asker:
            app = app_at(house.home(site), [house.home(other) for other in others], Place(), once="open sesame")
            running = stack.enter_context(Running(app))
            asker = stack.enter_context(Asker(running.address))
            if enters:
                asker.comes_in("open sesame")
            return asker

        yield served
