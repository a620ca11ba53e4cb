"""Reads entries from a bucket: few at the tail one by one, many from bundles and side by side."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

from relay.errors import BrokenError, MissingError
from relay.ledger.entry import ENTRY_LIMIT
from relay.ledger.history import split_bundle
from relay.store.keys import BUNDLE_PREFIX, ENTRY_PREFIX, bundle_key, entry_key
from relay.store.port import Store

BUNDLE = 256
"""Entries in a bundle."""

BUNDLE_LIMIT = 8 * 1024 * 1024
"""Bytes; a run of entries that is longer stays unbundled, so that reading many bundles at once is bounded."""

READERS = 16
"""Entries or bundles that are read side by side."""


def read_from(store: Store, start: int, *, bundles: bool = True) -> list[bytes]:
    """Return the bytes of every entry from `start` on, unchecked. Where nothing is new, this is one request."""
    try:
        first = store.read(entry_key(start), ENTRY_LIMIT)
    except MissingError:
        return []
    slots = [_slot(listed.key) for listed in store.list(ENTRY_PREFIX, after=entry_key(start))]
    for expected, slot in enumerate(slots, start + 1):
        if slot != expected:
            raise BrokenError(f"entry {expected} is not in {store.name}, but entry {slot} is: it was deleted")
    return [first, *_read_many(store, start + 1, len(slots), bundles=bundles)]


def _slot(key: str) -> int:
    number = key.removeprefix(ENTRY_PREFIX)
    if not number.isdecimal() or entry_key(int(number)) != key:
        raise BrokenError(f"{key} lies among the entries and is none: no Relay wrote it; call the coordinator")
    return int(number)


def _read_many(store: Store, start: int, count: int, *, bundles: bool) -> list[bytes]:
    end = start + count
    raws = _bundled(store, start, end) if bundles and count >= BUNDLE else {}
    lacking = [slot for slot in range(start, end) if slot not in raws]
    with ThreadPoolExecutor(READERS) as readers:
        read = readers.map(lambda slot: store.read(entry_key(slot), ENTRY_LIMIT), lacking)
        raws.update(zip(lacking, read, strict=True))
    return [raws[slot] for slot in range(start, end)]


def _bundled(store: Store, start: int, end: int) -> dict[int, bytes]:
    """Return the entries that whole bundles hold.

    A bundle is proved by its chain: all but its last entry by the one after it. The last entry of the last bundle is
    left out, so that it is read from its own place and pins the rest.
    """
    wanted = list(_bundles(store, start, end))
    raws: dict[int, bytes] = {}
    with ThreadPoolExecutor(READERS) as readers:
        for first, bundle in zip(wanted, readers.map(lambda first: _bundle(store, first), wanted), strict=True):
            raws.update((slot, raw) for slot, raw in enumerate(bundle, first) if start <= slot < end)
    if raws:
        del raws[max(raws)]
    return raws


def _bundles(store: Store, start: int, end: int) -> Iterator[int]:
    for listed in store.list(BUNDLE_PREFIX):
        number = listed.key.removeprefix(BUNDLE_PREFIX).partition("-")[0]
        first = int(number) if number.isdecimal() else end
        if listed.key == bundle_key(first, BUNDLE) and start < first + BUNDLE <= end:
            yield first


def _bundle(store: Store, first: int) -> list[bytes]:
    try:
        raws = split_bundle(store.read(bundle_key(first, BUNDLE), BUNDLE_LIMIT))
    except (MissingError, BrokenError):
        return []
    return raws if len(raws) == BUNDLE else []
