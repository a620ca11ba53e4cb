"""The watchdog: an ear that ends is opened anew, one that is deaf is replaced, one that waits for the broker stays."""

from itertools import pairwise

import pytest

from relay.errors import TransientError
from tests.unit.ledger.rig import FakeClock
from workers.consumer import Ear as Hears
from workers.ear import DEAF_AFTER, PULSE_EVERY, Watchdog
from workers.message import Kind

OWN = "relay.tide.site.lisbon"


class FakeEar:
    def __init__(self, hears: Hears, heard) -> None:
        self.hears, self.heard, self.open = hears, heard, True

    def is_open(self) -> bool:
        return self.open

    def close(self) -> None:
        self.open = False


class FakeBell:
    """A broker that takes messages, or not, and hands them to whatever ear is open, or not."""

    def __init__(self) -> None:
        self.takes, self.hands_over, self.sent = True, True, 0
        self.ears: list[FakeEar] = []

    def send(self, kind: Kind, names, about: str = "") -> bool:
        assert (kind, list(names)) == (Kind.PULSE, [OWN])
        self.sent += self.takes
        if self.takes and self.hands_over and self.ears[-1].open:
            self.ears[-1].heard(kind, about)
        return self.takes

    def close(self) -> None:
        pass


class Scene:
    def __init__(self) -> None:
        self.clock, self.bell, self.rung = FakeClock(), FakeBell(), []
        self.refuses = False
        hears = Hears(broker="redis://x", production="tide", site="lisbon", queues=())
        self.dog = Watchdog(
            hears, lambda kind, about: self.rung.append((kind, about)), self.clock, self.open, self.bell
        )

    def open(self, hears: Hears, heard) -> FakeEar:
        if self.refuses:
            raise TransientError("no room")
        self.bell.ears.append(FakeEar(hears, heard))
        return self.bell.ears[-1]

    @property
    def ears(self) -> list[FakeEar]:
        return self.bell.ears

    def go(self, seconds: float, *stages: str) -> None:
        for _ in range(int(seconds)):
            self.dog.step(stages)
            self.clock.wait(1)


@pytest.fixture
def scene():
    return Scene()


def test_a_worker_that_hears_itself_is_left_alone(scene):
    scene.go(3600)
    assert len(scene.ears) == 1
    assert scene.bell.sent == 3600 / PULSE_EVERY


def test_what_is_heard_is_passed_on_and_pulses_are_not(scene):
    scene.go(30)
    scene.ears[0].heard(Kind.WAKE, "scan/A/R001/1")
    assert scene.rung == [(Kind.WAKE, "scan/A/R001/1")]


def test_a_deaf_ear_is_replaced_while_the_broker_takes_messages(scene):
    scene.go(60)
    scene.bell.hands_over = False
    scene.go(DEAF_AFTER + PULSE_EVERY + 1)
    assert len(scene.ears) == 2
    assert not scene.ears[0].open
    scene.bell.hands_over = True
    scene.go(600)
    assert len(scene.ears) == 2


def test_one_pulse_that_is_lost_replaces_nobody(scene):
    scene.go(5)
    scene.bell.hands_over = False
    scene.go(PULSE_EVERY)
    scene.bell.hands_over = True
    scene.go(600)
    assert len(scene.ears) == 1


def test_a_broker_that_is_away_is_not_the_ears_fault(scene):
    scene.go(5)
    scene.bell.takes = False
    scene.go(86_400)
    assert len(scene.ears) == 1
    scene.bell.takes = True
    scene.go(600)
    assert len(scene.ears) == 1


def test_an_ear_that_ends_by_itself_is_opened_anew_ever_more_slowly(scene):
    opened = []
    for second in range(600):
        scene.dog.step()
        if len(scene.ears) > len(opened):
            opened.append(second)
        scene.ears[-1].open = False
        scene.clock.wait(1)
    waits = [after - before for before, after in pairwise(opened)]
    assert waits[:5] == sorted(waits[:5])
    assert 60 <= max(waits) <= 62
    scene.go(120)
    scene.ears[-1].open = False
    count = len(scene.ears)
    scene.go(4)
    assert len(scene.ears) == count + 1, "after a good while it starts quickly again"


def test_an_ear_that_cannot_be_opened_is_tried_again(scene):
    scene.refuses = True
    scene.go(30)
    scene.refuses = False
    scene.go(120)
    assert len(scene.ears) == 1


def test_when_the_sites_stages_change_the_ear_hears_their_queues(scene):
    scene.go(5)
    assert scene.ears[-1].hears.queues == (OWN,)
    scene.go(5, "scan", "check")
    assert scene.ears[-1].hears.queues == (OWN, "relay.tide.stage.check", "relay.tide.stage.scan")
    assert [ear.open for ear in scene.ears] == [False, True]
