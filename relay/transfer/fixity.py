"""Reads stored copies again on a schedule, within a budget of bytes and time, and says what it found.

Never looks at files that people are working on: a copy at a site counts only while its files still bear the stamps that
they had when they arrived.
"""

import threading
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import NamedTuple

from relay.clock import Clock
from relay.errors import BrokenError, MissingError
from relay.ledger.state import CopyCheck, State, Version
from relay.ledger.words import FAULTS_IN_ENTRY, CopyChecked, Word
from relay.media.manifest import Chunk, Manifest
from relay.model import digest_of
from relay.store.keys import object_key
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.desk import Desk
from relay.transfer.faults import Fault, What, Where
from relay.transfer.handover import in_entry
from relay.transfer.hands import Piece, do_all
from relay.transfer.notebook import Stamp, stamp_of
from relay.transfer.verify import verify

HANDS = 2
"""Fixity goes on beside transfers and must not be in their way."""


class Schedule(NamedTuple):
    """How often, and how much at a time."""

    every: timedelta = timedelta(days=30)
    bytes_a_second: int = 50_000_000
    at_most: timedelta = timedelta(hours=2)
    """Nothing new is begun after this."""


class Pace:
    """A watcher that holds a transfer to a rate by letting its threads wait."""

    def __init__(self, clock: Clock, bytes_a_second: int) -> None:
        self._clock = clock
        self._rate = bytes_a_second
        self._began = clock.ticks()
        self._moved = 0
        self._lock = threading.Lock()

    def expect(self, files: int, size: int) -> None:
        pass

    def finished(self, path: str) -> None:
        pass

    def resting(self, seconds: float, why: str) -> None:
        pass

    def moved(self, size: int) -> None:
        with self._lock:
            self._moved += size
            ahead = self._moved / self._rate - (self._clock.ticks() - self._began)
        if ahead > 0:
            self._clock.wait(ahead)


def check_due(desk: Desk, schedule: Schedule) -> int:
    """Check what is due, the longest unchecked first, until the time is up. Returns how many copies were checked."""
    began, done = desk.clock.ticks(), 0
    state = desk.ledger.follow()
    for version, place, folder in _due(desk, state, schedule.every):
        if desk.clock.ticks() - began >= schedule.at_most.total_seconds():
            break
        check_copy(desk, version, place, folder, Pace(desk.clock, schedule.bytes_a_second))
        done += 1
    return done


class _Copy(NamedTuple):
    version: Version
    place: str
    folder: Path | None


def _due(desk: Desk, state: State, every: timedelta) -> list[_Copy]:
    """The coordinator looks after the bucket, and each site after what arrived there."""
    bucket = state.film().coordinator == desk.site
    copies = [_Copy(each, "bucket", None) for each in state.versions.values() if bucket and each.retired is None]
    copies += [
        _Copy(version, "site", arrival.folder)
        for version in state.versions.values()
        for arrival in desk.arrivals.near(version.name)
        if arrival.manifest == version.manifest and not _is_gone(version, desk.site, str(arrival.folder))
    ]
    latest = desk.now() - every
    dated = [(_last_look(copy, desk.site), copy) for copy in copies]
    return [copy for looked, copy in sorted(dated, key=lambda pair: pair[0]) if looked <= latest]


def _is_gone(version: Version, site: str, label: str) -> bool:
    return any((c.site, c.label, c.outcome) == (site, label, "gone") for c in version.checks)


def _last_look(copy: _Copy, site: str) -> datetime:
    label = str(copy.folder) if copy.folder else "-"
    looks = [check.time for check in copy.version.checks if check.place == copy.place and check.label == label]
    if copy.place == "site":
        looks += [receipt.time for receipt in copy.version.receipts if receipt.site == site and receipt.whole]
    return max([copy.version.time, *looks])


def check_copy(
    desk: Desk, version: Version, place: str, folder: Path | None, pace: Pace, label: str | None = None
) -> CopyCheck:
    """Read every byte of one copy again, and say what was found. `place` is `bucket`, `site` or `drive`."""
    manifest = desk.manifests.read(version.manifest)
    if folder is None:
        outcome, faults = _judged(check_bucket(manifest, desk.store, pace))
    elif place == "site" and not is_untouched(desk, manifest, folder):
        outcome, faults = "gone", []
    else:
        outcome, faults = _judged(verify(folder, manifest, hands=HANDS, watcher=pace) if folder.is_dir() else None)
    word = CopyChecked.model_validate(
        {
            "version": version.name,
            "manifest": version.manifest,
            "place": place,
            "label": label or (str(folder) if folder else "-"),
            "outcome": outcome,
            "faults": [in_entry(fault) for fault in faults[:FAULTS_IN_ENTRY]],
            "faults_in_all": len(faults),
        }
    )
    return _say(desk, word)


def _judged(faults: list[Fault] | None) -> tuple[str, list[Fault]]:
    if faults is None:
        return "gone", []
    return ("bad" if faults else "whole"), faults


def _say(desk: Desk, word: CopyChecked) -> CopyCheck:
    def decide(_state: State, _now: datetime) -> list[Word]:
        return [word]

    entry = desk.ledger.insist(desk.pen, decide)
    return next(check for check in desk.ledger.state.versions[word.version].checks if check.entry == entry.sequence)


def is_untouched(desk: Desk, manifest: Manifest, folder: Path) -> bool:
    """Answer whether every file still bears the stamp under which this site knew its hash."""
    stamps = {str(folder / file.path): stamp for file in manifest.files if (stamp := _stamp(folder / file.path))}
    known = desk.notebook.known(stamps)
    return all(
        (hashed := known.get(str(folder / file.path))) is not None and hashed.digest == file.digest
        for file in manifest.files
    )


def _stamp(path: Path) -> Stamp | None:
    try:
        return stamp_of(path.lstat())
    except OSError:
        return None


def check_bucket(manifest: Manifest, store: Store, pace: Pace) -> list[Fault]:
    """Return what is wrong with a package's objects in the store, by file. Every byte is read again."""
    faults: list[Fault] = []
    budget = Budget()

    def look(path: str, item: Chunk) -> None:
        with budget.of(item.size) as buffer:
            try:
                found = digest_of(buffer[: store.read_into(object_key(item.digest), buffer)])
            except MissingError:
                faults.append(Fault(path, What.MISSING, Where.BUCKET, item.digest))
                return
            except BrokenError as error:
                faults.append(Fault(path, What.CHANGED, Where.BUCKET, item.digest, detail=str(error)[:300]))
                return
        if found != item.digest:
            faults.append(Fault(path, What.CHANGED, Where.BUCKET, item.digest, found))
        pace.moved(item.size)

    def pieces() -> Iterator[Piece]:
        for file in manifest.files:
            for item in file.objects():
                yield partial(look, file.path, item)

    do_all(pieces(), HANDS)
    return sorted(faults, key=lambda fault: fault.path)
