"""The ear of a worker and a real broker: it hears again after every trouble, and no transfer notices."""

import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.clock import SYSTEM_CLOCK
from tests.conftest import missing
from tests.faults.workers_broker import DeadLines, Redis
from tests.servers.s3 import ServerMissingError
from workers.consumer import Ear as Hears
from workers.ear import Watchdog
from workers.message import Kind
from workers.ringing import FULL, CeleryDoorbell

PATIENCE = 600  # seconds until a test says that it will never hear


class Quick:
    """A clock that runs three times as fast, for what would take a minute."""

    def ticks(self) -> float:
        return 3 * time.monotonic()

    now, wait = staticmethod(SYSTEM_CLOCK.now), staticmethod(SYSTEM_CLOCK.wait)


class Listener:
    """A watchdog with its ear, in a thread, as a site's worker runs it."""

    def __init__(self, address: str, stages: tuple[str, ...] = ("scan",)) -> None:
        self.heard: list[str] = []
        self._came = threading.Condition()
        hears = Hears(broker=address, production="tide", site="lisbon", queues=())
        self.dog = Watchdog(hears, self._hear, Quick())
        self._stages = stages
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _hear(self, _kind: Kind, about: str) -> None:
        with self._came:
            self.heard.append(about)
            self._came.notify_all()

    def _run(self) -> None:
        while not self._over.wait(0.1):
            self.dog.step(self._stages)
        self.dog.close()

    def hears(self, ring, about: str) -> None:
        """Ring again and again until one was heard: a bell that is lost costs no more than that."""
        give_up = time.monotonic() + PATIENCE
        while about not in self.heard:
            assert time.monotonic() < give_up, f"{about} was never heard"
            ring(about)
            with self._came:
                self._came.wait_for(lambda: about in self.heard, 1)

    def stop(self) -> None:
        self._over.set()
        self._thread.join(60)


@pytest.fixture
def broker() -> Iterator[Redis]:
    try:
        server = Redis()
    except ServerMissingError as error:
        missing(str(error))
        raise
    yield server
    server.stop()


@pytest.fixture
def lines(broker: Redis) -> Iterator[DeadLines]:
    proxy = DeadLines(broker.port)
    yield proxy
    proxy.stop()


@pytest.fixture
def listener(lines: DeadLines) -> Iterator[Listener]:
    listening = Listener(lines.address)
    yield listening
    listening.stop()


def ringer(broker: Redis, *, stage: bool = False):
    bell = CeleryDoorbell("tide", broker.address)
    return lambda about: bell.ring([] if stage else ["lisbon"], ["scan"] if stage else [], about)


def test_a_site_hears_its_own_queue_and_those_of_its_stages(broker, listener):
    listener.hears(ringer(broker), "A/R01/v1")
    listener.hears(ringer(broker, stage=True), "scan/A/R01/1")


def test_what_is_no_message_ends_the_ear_and_the_next_one_hears(broker, listener):
    listener.hears(ringer(broker), "A/R01/v1")
    for number, nonsense in enumerate([b"nonsense", b'{"body": 3}', b"[]", b"\xff\xfe"]):
        with broker.client() as client:
            client.lpush("relay.tide.site.lisbon", nonsense)
        listener.hears(ringer(broker), f"after/{number}")


@pytest.mark.parametrize("times", [2, pytest.param(20, marks=pytest.mark.soak)])
def test_a_broker_that_was_killed_and_came_back_is_heard_again(broker, listener, times):
    for number in range(times):
        listener.hears(ringer(broker), f"before/{number}")
        broker.restart()
    listener.hears(ringer(broker), "after")


@pytest.mark.parametrize("times", [1, pytest.param(20, marks=pytest.mark.soak)])
def test_a_line_that_goes_half_open_is_noticed_and_opened_anew(broker, lines, listener, times):
    for number in range(times):
        listener.hears(ringer(broker), f"before/{number}")
        assert lines.freeze() > 0
    listener.hears(ringer(broker), "after")


@pytest.mark.parametrize("times", [1, pytest.param(5, marks=pytest.mark.soak)])
def test_a_broker_that_takes_no_writes_for_a_while_is_heard_again(broker, listener, times):
    for number in range(times):
        listener.hears(ringer(broker), f"before/{number}")
        with broker.client() as client:
            client.config_set("min-replicas-to-write", 1)  # there are none: every write is refused (redis.conf)
            time.sleep(4)
            client.config_set("min-replicas-to-write", 0)
    listener.hears(ringer(broker), "after")


def test_a_broker_that_lost_everything_is_heard_again(broker, listener):
    listener.hears(ringer(broker), "before")
    broker.lose_everything()
    listener.hears(ringer(broker), "after")
    with broker.client() as client:
        client.flushall()
    listener.hears(ringer(broker), "at/last")


def test_an_ear_that_hears_nothing_any_more_is_replaced_by_one_that_does(broker, listener):
    listener.hears(ringer(broker), "before")
    guard = listener.dog._ear._child.process.pid
    for pid in processes_of_group(guard):
        if pid != guard:
            os.kill(pid, signal.SIGSTOP)  # connected, and silent
    listener.hears(ringer(broker), "after")
    assert listener.dog._ear._child.process.pid != guard
    check_gone(guard)


def check_gone(group: int) -> None:
    """What was killed is gone once its parent, which may be the machine's own first process, has taken note of it."""
    give_up = time.monotonic() + 30
    while left := processes_of_group(group):
        assert time.monotonic() < give_up, f"{left} should be gone"
        time.sleep(0.1)


def is_alive(pid: int) -> bool:
    return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"


def processes_of_group(group: int) -> list[int]:
    found = []
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and os.getpgid(int(entry.name)) == group and is_alive(int(entry.name)):
                found.append(int(entry.name))
        except (ProcessLookupError, FileNotFoundError):
            continue
    return found


def test_a_queue_that_nobody_hears_does_not_grow(broker):
    ring = ringer(broker)
    for number in range(3 * FULL):
        ring(f"scan/A/R01/{number}")
    with broker.client() as client:
        assert client.llen("relay.tide.site.lisbon") == FULL


def test_everything_in_the_broker_lies_under_the_productions_own_name(broker, listener):
    """So that the broker can give each site a user that reaches no further."""
    listener.hears(ringer(broker), "A/R01/v1")
    listener.hears(ringer(broker, stage=True), "scan/A/R01/1")
    with broker.client() as client:
        seen = {key.decode() for key in client.keys("*")}
        commands = client.info("commandstats")
    assert {key for key in seen if not key.startswith("relay.tide.")} == set()
    assert "cmdstat_pubsub" not in commands


def test_a_message_about_another_production_rings_nobody(broker, listener):
    listener.hears(ringer(broker), "before")
    stranger = CeleryDoorbell("other", broker.address)
    stranger.send(Kind.WAKE, ["relay.tide.site.lisbon"], "scan/A/R01/9")
    listener.hears(ringer(broker), "after")
    assert "scan/A/R01/9" not in listener.heard


def test_the_password_of_the_broker_stands_in_no_command_line(broker, listener):
    listener.hears(ringer(broker), "before")
    guard = listener.dog._ear._child.process.pid
    for pid in processes_of_group(guard):
        assert b"redis://" not in Path(f"/proc/{pid}/cmdline").read_bytes()
