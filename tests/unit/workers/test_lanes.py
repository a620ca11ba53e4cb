"""Lanes: rung while busy goes once more, never twice at once, outlives what nobody foresaw, and stops when asked."""

import threading
from collections import Counter
from contextlib import contextmanager

import pytest

from relay.errors import BrokenError, TransientError
from workers.lanes import Lanes, lanes_of
from workers.locks import held
from workers.message import Kind
from workers.places import Places
from workers.room import Room
from workers.turn import Lane

LONG = 60.0  # seconds that a test waits before it says that something never came


class Scene:
    """Turns that a test holds open and lets go: what lanes are, without a ledger."""

    def __init__(self, tmp_path) -> None:
        self.room = Room(Places(tmp_path).open(), tmp_path / "locks")
        self.began = threading.Semaphore(0)
        self.go_on = threading.Semaphore(0)
        self.counts: Counter[Lane] = Counter()
        self.at_once: Counter[Lane] = Counter()
        self.most: Counter[Lane] = Counter()
        self.opened = 0
        self.wants: set[Lane] = set()
        self.trouble: dict[Lane, list[Exception]] = {}
        self.held = {Lane.RECEIVE}

    @contextmanager
    def turn(self):
        self.opened += 1
        yield self

    def run(self, lane: Lane) -> int:
        self.counts[lane] += 1
        self.at_once[lane] += 1
        self.most[lane] = max(self.most[lane], self.at_once[lane])
        try:
            if lane in self.held:
                self.began.release()
                assert self.go_on.acquire(timeout=LONG)
            if self.trouble.get(lane):
                raise self.trouble[lane].pop()
            return 0
        finally:
            self.at_once[lane] -= 1

    def wanted(self) -> set[Lane]:
        return self.wants


@pytest.fixture
def scene(tmp_path):
    return Scene(tmp_path)


@pytest.fixture
def lanes(scene):
    running = Lanes(scene.room, scene.turn, doers=2)
    running.start()
    yield running
    for _ in range(100):
        scene.go_on.release()
    assert running.stop(LONG)


def began(scene: Scene) -> None:
    assert scene.began.acquire(timeout=LONG)


def eventually(what) -> None:
    tick = threading.Event()
    for _ in range(6000):
        if what():
            return
        tick.wait(0.01)
    raise AssertionError("it never came to that")


def test_a_lane_that_is_rung_a_hundred_times_while_busy_goes_once_more(scene, lanes):
    lanes.ring([Lane.RECEIVE])
    began(scene)
    for _ in range(100):
        lanes.ring([Lane.RECEIVE])
    scene.go_on.release()
    began(scene)
    scene.go_on.release()
    lanes.ring([Lane.MEND])
    eventually(lambda: scene.counts[Lane.MEND] == 1)
    assert not scene.began.acquire(timeout=0.3), "a third time"
    assert (scene.counts[Lane.RECEIVE], scene.most[Lane.RECEIVE]) == (2, 1)


def test_a_long_transfer_holds_no_other_lane_up(scene, lanes):
    lanes.ring([Lane.RECEIVE])
    began(scene)
    lanes.ring([Lane.SEND, Lane.MEND, Lane.DO])
    eventually(lambda: scene.counts[Lane.SEND] == scene.counts[Lane.MEND] == 1)
    eventually(lambda: scene.counts[Lane.DO] == 2)  # two doers


def test_looking_rings_the_lanes_that_have_something_to_do(scene, lanes):
    scene.wants = {Lane.MEND}
    lanes.sweep()
    eventually(lambda: scene.counts[Lane.MEND] == 1)
    assert scene.counts[Lane.SEND] == 0


def test_a_lane_goes_on_after_an_error_and_keeps_its_desk(scene, lanes):
    scene.trouble[Lane.MEND] = [TransientError("the store is away"), BrokenError("the chain does not hold")]
    for count in (1, 2, 3):
        lanes.ring([Lane.MEND])
        eventually(lambda count=count: scene.counts[Lane.MEND] == count)
    assert scene.opened == 1


def test_a_lane_outlives_what_nobody_foresaw_and_takes_a_fresh_desk(scene, lanes, caplog):
    scene.trouble[Lane.MEND] = [ZeroDivisionError("what nobody foresaw")]
    lanes.ring([Lane.MEND])
    eventually(lambda: scene.counts[Lane.MEND] == 1)
    lanes.ring([Lane.MEND])
    eventually(lambda: scene.counts[Lane.MEND] == 2)
    assert scene.opened == 2
    assert "what nobody foresaw" in caplog.text


def test_a_lane_that_another_process_runs_goes_when_that_one_is_done(scene, lanes):
    with held(scene.room.locks / "mend") as mine:
        assert mine
        lanes.ring([Lane.MEND])
        assert not threading.Event().wait(0.3)
        assert scene.counts[Lane.MEND] == 0
    eventually(lambda: scene.counts[Lane.MEND] == 1)


def test_a_stop_waits_for_no_lane_that_sleeps_and_says_when_one_is_still_at_it(scene):
    lanes = Lanes(scene.room, scene.turn)
    lanes.start()
    lanes.ring([Lane.RECEIVE])
    began(scene)
    assert not lanes.stop(0.2)
    scene.go_on.release()
    assert lanes.stop(LONG)


def test_a_lock_is_free_again_when_its_holder_is_gone(tmp_path):
    import subprocess
    import sys

    text = (
        "import sys, pathlib\nfrom workers.locks import held\n"
        f"with held(pathlib.Path({str(tmp_path / 'lock')!r})) as mine:\n"
        "    print(mine, flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", text], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout.readline() == "True\n"
        with held(tmp_path / "lock") as mine:
            assert not mine
        other.kill()
    with held(tmp_path / "lock", tidy=True) as mine:
        assert mine
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_of_message_rings_a_lane(kind):
    assert set(lanes_of(kind)) <= set(Lane)
    assert list(lanes_of(kind))
