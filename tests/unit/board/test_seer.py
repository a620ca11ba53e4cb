"""Forecasts beside the pages: one at a time, and none is cut off in its middle where that cannot be done."""

import threading
from datetime import datetime

from relay.board.reckoning import Here, Reckoned
from relay.board.seer import Foresight, Seer
from relay.clock import SystemClock
from relay.errors import TransientError
from relay.ledger.state import State
from tests.unit.board.board_house import RULER, BoardHouse
from tests.unit.ledger.rig import FakeClock
from tests.unit.ledger.scene import NOON


class Slow(Here):
    """Reckons as Here does, once it may."""

    def __init__(self) -> None:
        super().__init__(SystemClock())
        self.began, self.may_end = threading.Event(), threading.Event()

    def today(self, state: State, now: datetime) -> Reckoned:
        self.began.set()
        assert self.may_end.wait(30)
        return super().today(state, now)


class Dying(Here):
    """Has died, each time that it is asked."""

    def today(self, _state: State, _now: datetime) -> Reckoned:
        raise TransientError("the process that reckons forecasts was ended by signal 9")


def test_a_board_that_stops_waits_for_the_plan_that_is_under_way(house: BoardHouse):
    told: list[Foresight] = []
    reckoner = Slow()
    seer = Seer(FakeClock(), reckoner, told.append)
    seer.look(house.ledger(RULER).follow(), NOON)
    assert reckoner.began.wait(30)
    stopping = threading.Thread(target=seer.stop)
    stopping.start()
    stopping.join(0.2)
    assert stopping.is_alive()
    reckoner.may_end.set()
    stopping.join(30)
    assert [each.rows is not None for each in told] == [True]


def test_a_seer_that_never_looked_stops_at_once():
    Seer(FakeClock(), Here(SystemClock()), lambda _: None).stop()


def test_that_the_reckoning_process_died_is_said_in_a_sentence():
    told: list[Foresight] = []
    seer = Seer(FakeClock(), Dying(SystemClock()), told.append)
    seer.look(State(), NOON)
    seer.stop()
    assert [each.why_not for each in told] == ["the process that reckons forecasts was ended by signal 9"]
