"""Reads entries from a bucket: few at the tail one by one, many from bundles and side by side."""

from concurrent.futures import ThreadPoolExecutor

from relay.errors import BrokenError, MissingError
from relay.ledger.entry import ENTRY_LIMIT
from relay.ledger.history import split_bundle
from relay.store.keys import ENTRY_PREFIX, bundle_key, entry_key
from relay.store.port import Store

BUNDLE = 256
"""Entries in a bundle."""

BUNDLE_LIMIT = 8 * 1024 * 1024
"""Bytes; a run of entries that is longer stays unbundled, so that reading many bundles at once is bounded."""

READERS = 16
"""Entries or bundles that are read side by side."""


def read_from(store: Store, start: int, *, bundles: bool = True) -> list[bytes]:
    """Return the bytes of every entry from `start` on, unchecked. Where nothing is new, this is one request.

    It lists, where a read of `start` would do: a deleted entry shows only in what lies behind it, and a place that is
    only empty because its entry was deleted must never be written to.
    """
    slots = [_slot(listed.key) for listed in store.list(ENTRY_PREFIX, after=entry_key(start - 1) if start else "")]
    end = start
    for slot in slots:
        for missed in range(end, slot):
            _check_not_deleted(store, missed, slot)
        end = slot + 1
    return _read_many(store, start, end, bundles=bundles)


def _check_not_deleted(store: Store, missed: int, slot: int) -> None:
    """Raise BrokenError unless an entry that the listing left out is there: a listing is no picture of one moment."""
    if store.size(entry_key(missed)) is None:
        raise BrokenError(
            f"entry {missed} is not in {store.name}, but entry {slot} is: it was deleted. Nothing was done; have it "
            "put back from another site's copy, byte for byte, or call the coordinator"
        )


def _slot(key: str) -> int:
    number = key.removeprefix(ENTRY_PREFIX)
    if not number.isdecimal() or entry_key(int(number)) != key:
        raise BrokenError(f"{key} lies among the entries and is none: no Relay wrote it; call the coordinator")
    return int(number)


def _read_many(store: Store, start: int, end: int, *, bundles: bool) -> list[bytes]:
    raws = _bundled(store, start, end) if bundles and end - start > BUNDLE else {}
    lacking = [slot for slot in range(start, end) if slot not in raws]
    if len(lacking) == 1:  # as mostly: a thread of its own would cost more than the reading
        return [raws[slot] if slot in raws else _read_one(store, slot) for slot in range(start, end)]
    with ThreadPoolExecutor(READERS) as readers:
        read = readers.map(lambda slot: _read_one(store, slot), lacking)
        raws.update(zip(lacking, read, strict=True))
    return [raws[slot] for slot in range(start, end)]


def _read_one(store: Store, slot: int) -> bytes:
    try:
        return store.read(entry_key(slot), ENTRY_LIMIT)
    except MissingError as error:
        raise BrokenError(f"entry {slot} was in {store.name} a moment ago, and is gone: it was deleted") from error


def _bundled(store: Store, start: int, end: int) -> dict[int, bytes]:
    """Return the entries that whole bundles hold.

    A bundle is proved by its chain: all but its last entry by the one after it. The last entry of the last bundle is
    left out, so that it is read from its own place and pins the rest.
    """
    wanted = range(start - start % BUNDLE, end - BUNDLE + 1, BUNDLE)
    raws: dict[int, bytes] = {}
    with ThreadPoolExecutor(READERS) as readers:
        for first, bundle in zip(wanted, readers.map(lambda first: _bundle(store, first), wanted), strict=True):
            raws.update((slot, raw) for slot, raw in enumerate(bundle, first) if start <= slot)
    if raws:
        del raws[max(raws)]
    return raws


def _bundle(store: Store, first: int) -> list[bytes]:
    try:
        bundle = store.read(bundle_key(first, BUNDLE), BUNDLE_LIMIT)
    except (MissingError, BrokenError):
        return []
    return split_bundle(bundle) if bundle.count(b"\n") == 2 * BUNDLE else []
