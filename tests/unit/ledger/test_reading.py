from pathlib import Path

import pytest

from relay.errors import BrokenError
from relay.ledger import reading
from relay.ledger.history import split_bundle
from relay.ledger.reading import BUNDLE, read_from
from relay.store.keys import bundle_key, entry_key
from tests.unit.ledger.rig import OpenStore, opened
from tests.unit.ledger.scene import Told, longer

LENGTH = 2 * BUNDLE + 10


@pytest.fixture(scope="module")
def told() -> Told:
    return longer(Told.founded(), LENGTH - 7)


@pytest.fixture
def store(told: Told) -> OpenStore:
    store = OpenStore(told)
    for first in (0, BUNDLE):
        store.objects[bundle_key(first, BUNDLE)] = b"".join(told.raws[first : first + BUNDLE])
    return store


def reads(store: OpenStore) -> list[str]:
    return [key for what, key in store.asked if what == "read"]


def test_where_nothing_is_new_one_request_says_so(store: OpenStore) -> None:
    assert read_from(store, LENGTH) == []
    assert len(store.asked) == 1


def test_a_short_tail_is_read_entry_by_entry(store: OpenStore, told: Told) -> None:
    assert read_from(store, LENGTH - 3) == told.raws[-3:]
    assert sorted(reads(store)) == [entry_key(slot) for slot in range(LENGTH - 3, LENGTH)]


@pytest.mark.parametrize("start", [0, 1, 100, BUNDLE - 1, BUNDLE])
def test_many_are_read_from_bundles_and_are_the_same_bytes(store: OpenStore, told: Told, start: int) -> None:
    assert read_from(store, start) == told.raws[start:]
    assert len(reads(store)) <= 2 + BUNDLE + 11
    # The last entry that a bundle holds is read from its own place: it pins all the others.
    assert entry_key(2 * BUNDLE - 1) in reads(store)
    assert entry_key(2 * BUNDLE - 2) not in reads(store)


@pytest.mark.parametrize(
    "lie",
    [
        b"",
        b"\n" * (2 * BUNDLE),
        b"\n" * (2 * BUNDLE + 1),
        b"\r" * 4000,
        b"x" * 100,
        b"x" * (reading.BUNDLE_LIMIT + 1),
    ],
)
def test_a_bundle_that_holds_rubbish_stops_nobody(tmp_path: Path, store: OpenStore, told: Told, lie: bytes) -> None:
    store.objects[bundle_key(BUNDLE, BUNDLE)] = lie
    assert opened(store, tmp_path).follow().projection() == told.state.projection()


def test_a_bundle_in_an_odd_place_or_of_an_odd_size_is_not_even_read(store: OpenStore, told: Told) -> None:
    for first, count in [(1, BUNDLE), (5, BUNDLE), (0, 3), (0, 100_000)]:
        store.objects[bundle_key(first, count)] = b"".join(told.raws)
    assert read_from(store, 0) == told.raws
    assert {key for key in reads(store) if key.startswith("bundles/")} == {
        bundle_key(first, BUNDLE) for first in (0, BUNDLE)
    }


@pytest.mark.parametrize("gone", [0, 1, 17, BUNDLE - 1, BUNDLE, LENGTH - 2])
@pytest.mark.parametrize("start", [0, 17])
def test_a_deleted_entry_is_named_though_a_bundle_still_has_it(store: OpenStore, gone: int, start: int) -> None:
    del store.objects[entry_key(gone)]
    if gone < start:
        assert len(read_from(store, start)) == LENGTH - start
        return
    with pytest.raises(BrokenError, match=f"^entry {gone} is not in"):
        read_from(store, start)


def test_what_was_listed_and_is_gone_is_named(store: OpenStore) -> None:
    class Vanishing(OpenStore):
        def list(self, prefix: str, after: str = ""):  # type: ignore[no-untyped-def]
            found = list(super().list(prefix, after))
            self.objects.pop(entry_key(LENGTH - 2), None)
            return iter(found)

    vanishing = Vanishing()
    vanishing.objects.update(store.objects)
    with pytest.raises(BrokenError, match=f"^entry {LENGTH - 2} was in .* and is gone"):
        read_from(vanishing, LENGTH - 5)


@pytest.mark.parametrize("left_out", [{LENGTH - 3}, {LENGTH - 3, LENGTH - 2}, {LENGTH - 5, LENGTH - 2}])
def test_a_listing_that_is_no_picture_of_one_moment_is_not_taken_for_a_deletion(
    store: OpenStore, told: Told, left_out: set[int]
) -> None:
    """A folder, and a server that keeps its index in parts, may list a late entry and leave out an earlier one."""

    class Blinking(OpenStore):
        def list(self, prefix: str, after: str = ""):  # type: ignore[no-untyped-def]
            missed = {entry_key(slot) for slot in left_out}
            return (listed for listed in super().list(prefix, after) if listed.key not in missed)

    blinking = Blinking()
    blinking.objects.update(store.objects)
    assert read_from(blinking, LENGTH - 5) == told.raws[-5:]


@pytest.mark.parametrize("key", ["entries/junk", "entries/42", "entries/00000000001", "entries/0000000001/x"])
def test_what_is_no_entry_and_lies_among_them_is_named(store: OpenStore, key: str) -> None:
    store.objects[key] = b""
    with pytest.raises(BrokenError, match=f"^{key} lies among the entries"):
        read_from(store, 0)


def test_one_far_entry_does_not_make_a_reader_count_to_it(store: OpenStore) -> None:
    store.objects[entry_key(9_999_999_999)] = b""
    with pytest.raises(BrokenError, match=f"^entry {LENGTH} is not in"):
        read_from(store, LENGTH - 1)
    assert len(store.asked) == 2


def test_a_bundle_splits_into_the_bytes_it_was_joined_from(told: Told) -> None:
    assert split_bundle(b"".join(told.raws)) == told.raws
    assert split_bundle(b"") == []
    odd = [b"a\rb\x0b\x85\n\x1c\n", b"\n\n"]
    assert split_bundle(b"".join(odd)) == odd
    assert split_bundle(b"a\nb") == [b"a\nb"]
