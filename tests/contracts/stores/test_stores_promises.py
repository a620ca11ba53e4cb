"""The three promises of a store, asked of every store we have. The promises are the port's own: relay/store/port.py."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from relay.errors import MissingError
from relay.model import digest_of
from relay.store.keys import entry_key, object_key
from relay.store.port import Listed, Store
from tests.contracts.stores.racing import race, race_in_two_processes, times_won
from tests.contracts.stores.rigs import Rig

FRAME = 2 * 1024 * 1024  # bytes


def created(store: Store, key: str, body: bytes) -> bool:
    return store.create(key, body, digest_of(body))


def test_a_key_that_is_taken_stays_as_it_is(store: Store):
    assert created(store, "entries/0000000001", b"first")
    assert not created(store, "entries/0000000001", b"second")
    assert store.read("entries/0000000001") == b"first"


def test_the_same_bytes_again_are_answered_as_taken(store: Store):
    assert created(store, "probe/a", b"the same")
    assert not created(store, "probe/a", b"the same")


def test_of_many_threads_that_create_a_key_exactly_one_wins(rig: Rig, store: Store):
    keys = [entry_key(number) for number in range(rig.keys)]
    wins = race(store, keys, "one", 2 * rig.threads)
    assert times_won(wins) == dict.fromkeys(keys, 1)
    assert {key: store.read(key) for key in keys} == dict(wins)


def test_of_two_processes_that_create_a_key_exactly_one_wins(rig: Rig, store: Store):
    if not rig.many_processes:
        pytest.skip("memory is not shared between processes")
    keys = [entry_key(number) for number in range(rig.keys)]
    wins = race_in_two_processes(rig, keys)
    assert times_won(wins) == dict.fromkeys(keys, 1)
    assert {key: store.read(key) for key in keys} == dict(wins)


def test_a_reader_sees_all_of_an_object_or_nothing(store: Store, second: Store):
    bodies = [bytes([number]) * FRAME for number in range(12)]
    keys = [f"probe/whole-{number}" for number in range(len(bodies))]
    finished = threading.Event()

    def watch() -> set[int]:
        seen = set()
        while not finished.is_set():
            for key, body in zip(keys, bodies, strict=True):
                try:
                    found = second.read(key)
                except MissingError:
                    continue
                seen.add(len(found))
                assert found == body
        return seen

    with ThreadPoolExecutor(1) as pool:
        watching = pool.submit(watch)
        try:
            assert all(created(store, key, body) for key, body in zip(keys, bodies, strict=True))
        finally:
            finished.set()
        assert watching.result() <= {FRAME}


def test_a_list_never_shows_a_part_of_an_object(store: Store, second: Store):
    finished = threading.Event()

    def watch() -> set[int]:
        sizes = set()
        while not finished.is_set():
            sizes |= {line.size for line in second.list("probe/")}
        return sizes

    with ThreadPoolExecutor(1) as pool:
        watching = pool.submit(watch)
        try:
            assert all(created(store, f"probe/{number}", bytes(FRAME)) for number in range(12))
        finally:
            finished.set()
        assert watching.result() <= {FRAME}


def test_what_was_created_is_at_once_read_and_listed_by_others(store: Store, second: Store):
    for number in range(30):
        body = b"%d" % number
        key = object_key(digest_of(body))
        assert created(store, key, body)
        assert second.read(key) == body
        assert second.size(key) == len(body)
        assert Listed(key, len(body)) in second.list(key[:12])


def test_what_is_missing_before_is_there_at_once_after(store: Store, second: Store):
    """A store that remembers for a while that there was nothing would make a claim look free."""
    for number in range(10):
        key = entry_key(number)
        with pytest.raises(MissingError):
            second.read(key)
        assert second.size(key) is None
        assert list(second.list("entries/", after=entry_key(number - 1) if number else "")) == []
        assert created(store, key, b"now")
        assert second.read(key) == b"now"
        assert [line.key for line in second.list("entries/")][-1] == key
