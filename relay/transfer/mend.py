"""Puts right what lies in a store under a name that it does not fit, from a good copy of the package."""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from relay.errors import LostRaceError, MissingError, RefusedError
from relay.media.manifest import WHOLE_LIMIT, Manifest
from relay.model import Digest, digest_of
from relay.store.folder import in_our_words
from relay.store.keys import object_key
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.faults import Fault
from relay.transfer.tree import READ, pread_into

_TRIES = 3  # when somebody else mends the same object


class Mended(NamedTuple):
    """One object that was put right."""

    path: str
    digest: Digest
    bad: Digest | None
    """The SHA-256 of what lay there before; None where nothing did."""


class _Good(NamedTuple):
    """Where the good copy holds the bytes of an object."""

    path: str
    offset: int
    size: int  # bytes


def mend(store: Store, manifest: Manifest, folder: Path, faults: Iterable[Fault]) -> list[Mended]:
    """Replace each object that `faults` speak of, from the files under `folder`, and return what was replaced.

    An object is looked at first, and left alone when it is whole; what is put in its place is hashed first. Raises
    RefusedError when `folder` does not hold the right bytes either, LostRaceError when someone else is mending too.
    """
    budget = Budget(WHOLE_LIMIT)
    wanted = _wanted(manifest, faults)
    mended = [_mended(store, digest, folder, good, budget) for digest, good in wanted.items()]
    return [each for each in mended if each is not None]


def _wanted(manifest: Manifest, faults: Iterable[Fault]) -> dict[Digest, _Good]:
    wanted: dict[Digest, _Good] = {}
    for fault in faults:
        for digest, good in _objects(manifest, fault.path):
            if fault.expected in {digest, manifest.by_path[fault.path].digest}:
                wanted.setdefault(digest, good)
    return wanted


def _objects(manifest: Manifest, path: str) -> Iterator[tuple[Digest, _Good]]:
    file, offset = manifest.by_path.get(path), 0
    for item in file.objects() if file else ():
        yield item.digest, _Good(path, offset, item.size)
        offset += item.size


def _mended(store: Store, digest: Digest, folder: Path, good: _Good, budget: Budget) -> Mended | None:
    key = object_key(digest)
    for _ in range(_TRIES):
        with budget.of(WHOLE_LIMIT) as buffer:
            bad = _lying(store, key, buffer)
            if bad == digest:
                return None
            body = buffer[: good.size]
            _read_good(folder, good, digest, body)
            done = store.create(key, body, digest) if bad is None else store.replace(key, body, digest, bad)
        if done:
            return Mended(good.path, digest, bad)
    raise LostRaceError(
        f"{store.name}: {key} was changed {_TRIES} times while it was being mended. Is another site mending it? "
        "Ask there, then look again."
    )


def _lying(store: Store, key: str, buffer: memoryview) -> Digest | None:
    """Return the SHA-256 of what lies at `key` now, or None. Raises BrokenError when it is larger than any object."""
    try:
        size = store.read_into(key, buffer)
    except MissingError:
        return None
    return digest_of(buffer[:size])


def _read_good(folder: Path, good: _Good, digest: Digest, body: memoryview) -> None:
    with in_our_words(str(folder), f"read {good.path}"):
        descriptor = os.open(folder / good.path, READ)
        try:
            count = pread_into(descriptor, body, good.offset)
        finally:
            os.close(descriptor)
    found = digest_of(body[:count])
    if found != digest:
        raise RefusedError(
            f"{folder / good.path} is not a good copy: from byte {good.offset} on, found SHA-256 {found}, expected "
            f"{digest}. Nothing was replaced with it. Name a folder that holds the package as it was sent."
        )
