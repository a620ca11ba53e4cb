"""Signs of life: given over and over at one key, and as old as the store's own clock says. Asked of every store.

`Last-Modified` and `Date`, which an S3 store answers with, have whole seconds (RFC 9110, 5.6.7 and 8.8.2): an age may
be told a second too small or too large, and a lease is at least five.
"""

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError
from relay.model import digest_of
from relay.store.keys import entry_key
from relay.store.port import Store
from tests.contracts.stores.rigs import MemoryRig, Rig, S3Rig

KEY = "alive/0123456789abcdef-42"


def test_where_no_sign_was_given_there_is_no_age(store: Store):
    assert store.age(KEY) is None


def test_a_sign_that_was_just_given_is_young_to_everybody(store: Store, second: Store):
    before = time.monotonic()
    store.beat(KEY)
    age = second.age(KEY)
    assert age is not None
    assert 0 <= age <= time.monotonic() - before + 2


def test_a_sign_ages_and_the_next_one_is_young_again(store: Store, second: Store):
    store.beat(KEY)
    time.sleep(2.1)
    aged = second.age(KEY)
    assert aged is not None
    assert aged >= 1
    before = time.monotonic()
    store.beat(KEY)
    fresh = second.age(KEY)
    assert fresh is not None
    assert fresh <= time.monotonic() - before + 2


def test_signs_at_other_keys_are_others(store: Store):
    store.beat(KEY)
    assert store.age("alive/0123456789abcdef-43") is None


def test_many_who_give_signs_at_once_are_in_nobodys_way(rig: Rig):
    store = rig.open()
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda _: store.beat(KEY), range(24)))
    assert store.age(KEY) is not None


@pytest.mark.parametrize("key", [entry_key(3), "by-digest/ab/abcd", "alive", "alive/../entries/0000000003", "alive/A"])
def test_a_sign_is_given_nowhere_but_under_alive(store: Store, key: str):
    """Whatever else lies in a bucket is created once; a sign is the only thing that is written over."""
    with pytest.raises(RefusedError):
        store.beat(key)


def test_an_entry_stays_as_it_was_whoever_gives_signs(store: Store):
    body = b"entry"
    assert store.create(entry_key(0), body, digest_of(body))
    with pytest.raises(RefusedError):
        store.beat(entry_key(0))
    assert store.read(entry_key(0)) == body


def test_signs_are_not_among_the_entries(store: Store):
    store.beat(KEY)
    assert list(store.list("entries/")) == []


class Off:
    """A clock that is off by `by`, on the machine that asks."""

    def __init__(self, by: timedelta) -> None:
        self._by = by

    def now(self) -> datetime:
        return datetime.now(UTC).replace(microsecond=0) + self._by

    ticks, wait = staticmethod(SYSTEM_CLOCK.ticks), staticmethod(SYSTEM_CLOCK.wait)


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_age_does_not_depend_on_the_clock_of_whoever_asks(rig: Rig, sign: int):
    if isinstance(rig, MemoryRig):
        pytest.skip("memory has no clock but ours")
    rig.open().beat(KEY)
    # A server refuses requests that are signed with a time more than a quarter of an hour off.
    if isinstance(rig, S3Rig):
        wrong = rig.open(clock=Off(sign * timedelta(minutes=10)))
    else:
        wrong = rig.open()
        wrong._clock = Off(sign * timedelta(days=1))
    age = wrong.age(KEY)
    assert age is not None
    assert age <= 60
