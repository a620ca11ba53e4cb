"""Forecasts beside the pages: one at a time, and none is cut off in its middle."""

import threading

from relay.board.seer import Foresight, Seer
from relay.ledger.state import State
from tests.unit.ledger.rig import FakeClock
from tests.unit.ledger.scene import NOON


def test_a_board_that_stops_waits_for_the_plan_that_is_under_way():
    began, may_end, told = threading.Event(), threading.Event(), []

    def slow(_state: State, _now: object, _clock: object) -> Foresight:
        began.set()
        assert may_end.wait(30)
        return Foresight(why_not="reckoned")

    seer = Seer(FakeClock(), told.append, slow)
    seer.look(State(), NOON)
    assert began.wait(30)
    stopping = threading.Thread(target=seer.stop)
    stopping.start()
    stopping.join(0.2)
    assert stopping.is_alive()
    may_end.set()
    stopping.join(30)
    assert [each.why_not for each in told] == ["reckoned"]


def test_a_seer_that_never_looked_stops_at_once():
    Seer(FakeClock(), lambda _: None).stop()
