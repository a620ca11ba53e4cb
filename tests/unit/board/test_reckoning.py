"""Forecasts in a process of their own: the same answers, no secrets, and no harm when it dies."""

import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.board.reckoning import Apart, Here, Reckoned
from relay.clock import SystemClock
from relay.errors import RefusedError, TransientError
from relay.ledger.state import State
from tests.unit.board.board_house import RULER, BoardHouse, quillmark
from tests.unit.board.busy_house import busy_house
from tests.unit.ledger.scene import NOON

LINE = ("tokyo line 2",)


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> State:
    house = BoardHouse(tmp_path_factory.mktemp("house"), quillmark())
    house.opens()
    return house.ledger(RULER).follow().still()


@pytest.fixture(scope="module")
def apart() -> Iterator[Apart]:
    reckoner = Apart()
    yield reckoner
    reckoner.stop()


def test_a_state_comes_out_of_its_line_as_it_went_in(tmp_path):
    state = busy_house(tmp_path).ledger(RULER).follow().still()
    line = state.to_json()
    assert b"\n" not in line
    assert State.of_json(line) == state


def test_what_was_reckoned_comes_out_of_its_line_as_it_went_in(state):
    found = Here(SystemClock()).today(state, NOON)
    assert Reckoned.model_validate_json(found.model_dump_json()) == found


def test_the_process_apart_says_what_would_be_said_here_and_refuses_what_would_be_refused(state, apart):
    here = Here(SystemClock())
    there, same = apart.today(state, NOON).rows, here.today(state, NOON).rows
    assert apart.pid not in (None, os.getpid())
    assert (there.entry, there.now, there.premiere) == (same.entry, same.now, same.premiere)
    assert {bar.job for bar in there.bars} == {bar.job for bar in same.bars}
    assert apart.then(LINE).entry == same.entry
    said = []
    for reckoner in (apart, here):
        with pytest.raises(RefusedError) as refused:
            reckoner.then(("it rains",))
        said.append(str(refused.value))
    assert said[0] == said[1]


def test_a_process_that_is_killed_is_said_and_another_goes_on_from_the_same_day(state, apart):
    today = apart.today(state, NOON)
    os.kill(apart.pid, signal.SIGKILL)
    with pytest.raises(TransientError, match="was ended by signal 9"):
        apart.then(LINE)
    assert apart.pid is None
    assert apart.then(LINE).now == today.rows.now


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="only Linux shows a process's environment there")
def test_the_process_apart_is_given_nothing_that_opens_stores(state, monkeypatch):
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "moth lantern")
    monkeypatch.setenv("QUILLMARK_LAMP", "lit")
    reckoner = Apart()

    def asks() -> None:
        with pytest.raises(TransientError):
            reckoner.today(state, NOON)

    asking = threading.Thread(target=asks)
    asking.start()
    while reckoner.pid is None:
        asking.join(0.01)
    given = b""
    while not given:
        given = Path(f"/proc/{reckoner.pid}/environ").read_bytes()
    assert b"QUILLMARK_LAMP=lit" in given
    assert b"moth lantern" not in given
    reckoner.stop()
    asking.join(30)
    assert not asking.is_alive()


def test_a_reckoner_that_was_stopped_begins_nothing_more(state):
    reckoner = Apart()
    reckoner.stop()
    with pytest.raises(TransientError, match="being stopped"):
        reckoner.today(state, NOON)
    assert reckoner.pid is None
