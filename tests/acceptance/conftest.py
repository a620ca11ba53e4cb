"""One process that has loaded the command, and a production that each test gets a copy of."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import in_memory
from tests.acceptance.command import Forker
from tests.acceptance.house import House

tmp_path_factory = in_memory.tmp_path_factory


@pytest.fixture(scope="session")
def forker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forker]:
    forker = Forker(tmp_path_factory.mktemp("forker"))
    yield forker
    forker.stop()


@pytest.fixture(scope="session")
def first_house(forker: Forker, tmp_path_factory: pytest.TempPathFactory) -> House:
    house = House(forker, tmp_path_factory.mktemp("house"))
    house.create()
    return house


@pytest.fixture
def house(first_house: House, tmp_path: Path) -> House:
    """Lisbon, Halifax and Tokyo have joined a production in a folder; nothing was sent yet."""
    return first_house.copied(tmp_path)
