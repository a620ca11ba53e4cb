"""Signs of life: who holds a machine's claim gives them, whoever looks counts by the store's time, and rarely."""

import threading
import time
from datetime import UTC, datetime

import pytest

from relay.errors import TransientError
from relay.ledger.job_state import Claim, Job, Standing
from relay.store.keys import alive_key
from tests.contracts.memory_store import MemoryStore
from tests.contracts.stores.scripted import PatientClock
from workers.life import Life

LEASE = 100  # seconds
NAME = "scan/A/R001/1"
KEY = alive_key(NAME, 7)
THEN = datetime(2026, 9, 1, 12, tzinfo=UTC)


def held(**claim: object) -> Job:
    how = {"site": "lisbon", "epoch": 7, "since": THEN, **(claim or {"lease": LEASE})}
    return Job(NAME, "scan", "A/R001", (), (), 1, THEN, 1, THEN, Standing.CLAIMED, claim=Claim(**how))  # type: ignore[arg-type]


class Asked(MemoryStore):
    """Counts who looks, and says ages with a fraction, as a store does."""

    fraction = 0.0

    def __init__(self, clock: PatientClock) -> None:
        super().__init__(clock)
        self.looks = 0

    def age(self, key: str) -> float | None:
        self.looks += 1
        age = super().age(key)
        return None if age is None else age + self.fraction


@pytest.fixture
def clock() -> PatientClock:
    return PatientClock()


@pytest.fixture
def store(clock: PatientClock) -> Asked:
    return Asked(clock)


@pytest.fixture
def life(store: Asked, clock: PatientClock) -> Life:
    return Life(store, clock)


def test_a_claim_lapses_once_its_holder_was_silent_for_longer_than_the_lease(life, store, clock):
    store.beat(KEY)
    clock.wait(LEASE)
    assert life.lapsed(held()) is None, "as long as the lease is not longer"
    clock.wait(1)
    said = life.lapsed(held())
    assert (said.job, said.epoch, said.silent) == (NAME, 7, LEASE + 1)


def test_a_silence_is_told_in_whole_seconds_and_never_as_shorter_than_it_was(life, store, clock):
    store.fraction = 0.2
    store.beat(KEY)
    clock.wait(LEASE)
    assert life.lapsed(held()).silent == LEASE + 1


def test_a_claim_without_a_first_sign_has_one_lease_from_when_it_was_missed(life, store, clock):
    clock.wait(10 * LEASE)
    assert life.lapsed(held()) is None
    assert store.age(KEY) == 0, "the store's clock runs from now, whoever looks next"
    clock.wait(LEASE + 1)
    assert life.lapsed(held()).silent == LEASE + 1


def test_nobody_is_looked_at_again_before_the_claim_can_have_lapsed(life, store, clock):
    store.beat(KEY)
    clock.wait(40)
    for wait, looks in ((0, 1), (0, 1), (59, 1), (1, 2)):
        clock.wait(wait)
        assert life.lapsed(held()) is None
        assert store.looks == looks
    clock.wait(1)
    assert life.lapsed(held()).silent == LEASE + 1


def test_what_was_remembered_of_a_claim_goes_with_the_claim(life, store):
    store.beat(KEY)
    life.lapsed(held())
    life.forget_all_but([held()])
    life.lapsed(held())
    assert store.looks == 1
    life.forget_all_but([])
    life.lapsed(held())
    assert store.looks == 2


def test_a_claim_of_people_or_none_is_never_looked_at(life, store):
    assert life.lapsed(held(until=THEN)) is None
    assert life.lapsed(held(lease=None)) is None
    assert store.looks == 0


class Beaten(MemoryStore):
    """Loses some signs."""

    def __init__(self, *lost: int) -> None:
        super().__init__()
        self.beats = 0
        self._lost = lost

    def beat(self, key: str) -> None:
        self.beats += 1
        if self.beats in self._lost:
            raise TransientError("the line is down")
        super().beat(key)


def hearts() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name == f"heart of {NAME}"]


def until(is_so) -> None:
    give_up = time.monotonic() + 60
    while not is_so():
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_work_has_given_a_sign_before_it_begins(clock):
    store = Beaten()
    with Life(store, clock).beating(NAME, 7, LEASE):
        assert store.age(KEY) is not None
    until(lambda: not hearts())
    assert store.beats == 1


def test_signs_go_on_when_one_is_lost_and_end_with_the_work(clock):
    store = Beaten(2, 3)
    with Life(store, clock).beating(NAME, 7, lease=0.04):
        until(lambda: store.beats >= 5)
        assert hearts()
    until(lambda: not hearts())
