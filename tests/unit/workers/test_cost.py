"""What a worker asks of a store on which every request may cost money."""

import time

from relay.ledger import work
from tests.unit.workers.counting import counted_turn
from tests.unit.workers.house import CHECK, COORDINATOR, SCAN, House, film
from workers.automatic import _claim
from workers.lanes import Lanes
from workers.turn import Lane

ROOMS = {COORDINATOR: [], "lisbon": ["scan", "check"], "kolkata": ["scan", "check"]}


def test_an_idle_sweep_of_all_lanes_asks_the_store_twice(tmp_path):
    house = House(tmp_path, film([{"name": "scan"}], {COORDINATOR: [], "lisbon": ["scan"]}))
    with house.desk(COORDINATOR) as desk:
        work.open_due(desk.ledger, desk.pen)
    with counted_turn(house, "lisbon") as (turn, asked):
        turn.look()
        turn.wanted()
        asked.clear()
        for _ in range(10):
            assert turn.look() == 0
            assert turn.wanted() == set()
    assert asked == {"read": 10, "list": 10}


def test_lanes_that_have_nothing_to_do_are_not_run_by_a_sweep(tmp_path):
    house = House(tmp_path, film([SCAN], {COORDINATOR: [], "lisbon": []}))
    ran = []

    class Watched:
        def __init__(self, turn) -> None:
            self._turn = turn

        def run(self, lane: Lane) -> int:
            ran.append(lane)
            return self._turn.run(lane)

        def wanted(self) -> set[Lane]:
            return self._turn.wanted()

    from contextlib import contextmanager

    room = house.room("lisbon")

    @contextmanager
    def opened():
        with house.turn("lisbon", room) as turn:
            yield Watched(turn)

    lanes = Lanes(room, opened)
    lanes.start()
    for _ in range(3):
        lanes.sweep()
        time.sleep(0.3)
    assert lanes.stop(60)
    assert set(ran) == {Lane.LOOK}


def test_watching_a_machine_elsewhere_costs_one_request_a_lease_and_not_one_a_sweep(tmp_path):
    house = House(tmp_path, film([{**SCAN, "lease": 300}, CHECK], ROOMS))
    with house.turn("kolkata") as turn:
        turn.look()
        claim = _claim(turn.desk, "scan/A/R001/1")
        turn.life.beat("scan/A/R001/1", claim.epoch)
    with counted_turn(house, "lisbon") as (turn, asked):
        for _ in range(10):
            turn.look()
    assert asked["age"] == 1
