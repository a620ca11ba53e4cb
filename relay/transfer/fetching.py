"""One fetch under way: each object once, from where it costs least, verified in memory, then written to its places."""

import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from functools import partial
from typing import NamedTuple

from relay.errors import BrokenError, MissingError
from relay.media.manifest import Chunk, Manifest
from relay.model import Digest, digest_of
from relay.store.keys import object_key
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.earlier import Copy, Supply, opened
from relay.transfer.faults import Fault, What, Where
from relay.transfer.hands import Piece
from relay.transfer.landing import Landing
from relay.transfer.notebook import Notebook
from relay.transfer.progress import Onlooker, Watcher
from relay.transfer.tree import pread_into


class _Place(NamedTuple):
    """Where in the package the bytes of an object belong."""

    path: str
    offset: int  # bytes


class _Seen(NamedTuple):
    """What lay under an object's name, when it was not the object."""

    what: What
    found: Digest | None = None
    detail: str = ""


class Fetching:
    """What is to be done, and what came of it. Its pieces may be done by many threads."""

    def __init__(
        self,
        manifest: Manifest,
        store: Store,
        landing: Landing,
        supply: Supply,
        *,
        notebook: Notebook,
        watcher: Watcher,
        onlooker: Onlooker | None = None,
    ) -> None:
        self.faults: list[Fault] = []
        self.fetched_objects = 0
        self.fetched_bytes = 0
        self.reused_bytes = 0
        self.kept_bytes = 0
        self._manifest = manifest
        self._store = store
        self._landing = landing
        self._supply = supply
        self._notebook = notebook
        self._watcher = watcher
        self._onlooker = onlooker
        self._places: dict[Chunk, list[_Place]] = {}
        self._left: set[str] = set()  # files that an earlier run left
        self._sizes = {file.path: file.size for file in manifest.files}
        self._waiting = Counter({file.path: len(file.objects()) for file in manifest.files})  # objects
        self._lock = threading.Lock()

    def make_ready(self) -> None:
        """Lay the folders out, and see whether there is room for what is to come."""
        for file in self._manifest.files:
            offset = 0
            for item in file.objects():
                self._places.setdefault(item, []).append(_Place(file.path, offset))
                offset += item.size
        self._left = self._landing.tidy()
        self._landing.check_room(self._needed())
        for file in self._manifest.files:
            if file.chunks:
                self._landing.lengthen(file.path)

    def _needed(self) -> int:
        """Return how many bytes will be written, by all that is known before anything was read."""
        there = sum(self._landing.allocated(path) for path in self._left)
        shared = sum(
            item.size * len(places)
            for item, places in self._places.items()
            if any(self._landing.may_clone(copy.path) for copy in self._supply.copies(item.digest))
        )
        return self._manifest.size() - there - shared

    def pieces(self, budget: Budget) -> Iterator[Piece]:
        """Yield one piece for each object; its bytes are in memory while it is being done."""
        for item, places in self._places.items():
            yield partial(self._land, item, places, budget)

    def _land(self, item: Chunk, places: list[_Place], budget: Budget) -> None:
        with budget.loan(item.size) as (buffer, loan):
            wanted = [place for place in places if not self._is_kept(place, item, buffer)]
            wanted = [place for place in wanted if not self._is_reused(place, item, buffer)]
            if wanted and self._is_fetched(item, wanted, buffer):
                budget.ease(loan, 0)  # what arrived waits for the disk, and lets the next object set out
                for place in wanted:
                    self._landing.write(place.path, place.offset, buffer)
                    self._arrived(place, item, buffer)

    def _is_kept(self, place: _Place, item: Chunk, buffer: memoryview) -> bool:
        """Answer whether an earlier run left the bytes of `item` at `place`, by reading them."""
        if place.path not in self._left or not self._holds(place, item, buffer):
            return False
        with self._lock:
            self.kept_bytes += item.size
        self._arrived(place, item, buffer)
        return True

    def _holds(self, place: _Place, item: Chunk, buffer: memoryview) -> bool:
        if item.size and not self._landing.has_data(place.path, place.offset, item.size):
            return False
        count = self._landing.read(place.path, place.offset, buffer)
        return count == item.size and digest_of(buffer) == item.digest

    def _is_reused(self, place: _Place, item: Chunk, buffer: memoryview) -> bool:
        if not any(self._is_copied(copy, place, item, buffer) for copy in self._supply.copies(item.digest)):
            return False
        with self._lock:
            self.reused_bytes += item.size
        self._arrived(place, item, buffer)
        return True

    def _is_copied(self, copy: Copy, place: _Place, item: Chunk, buffer: memoryview) -> bool:
        """Clone or copy an earlier version's bytes to `place`; False where they are no longer those of `item`."""
        with opened(copy) as source:
            if source is None:
                return False
            if self._landing.clone(place.path, place.offset, item.size, source, copy.offset):
                return self._holds(place, item, buffer)
            with suppress(OSError):  # a disk that cannot give it back: then it comes over the line
                if pread_into(source, buffer, copy.offset) == item.size and digest_of(buffer) == item.digest:
                    self._landing.write(place.path, place.offset, buffer)
                    return True
        return False

    def _is_fetched(self, item: Chunk, wanted: list[_Place], buffer: memoryview) -> bool:
        """Fill `buffer` with the object from the store; when that fails twice, the files that need it are at fault."""
        first = self._look(item, buffer)
        again = self._look(item, buffer) if first else None  # it may have been damaged on the way
        if first and again:
            where = Where.BUCKET if first == again else Where.ARRIVAL
            self.faults.extend(Fault(place.path, again.what, where, item.digest, *again[1:]) for place in wanted)
            return False
        self._notebook.prove(self._store.name, item.digest)
        with self._lock:
            self.fetched_objects += 1
            self.fetched_bytes += item.size
        return True

    def _look(self, item: Chunk, buffer: memoryview) -> _Seen | None:
        """Read the object into `buffer`; None when it is what its name says."""
        try:
            size = self._store.read_into(object_key(item.digest), buffer)
        except MissingError:
            return _Seen(What.MISSING)
        except BrokenError as fault:
            return _Seen(What.CHANGED, None, str(fault))
        found = digest_of(buffer[:size])
        if found == item.digest:
            return None
        return _Seen(What.CHANGED, found, "" if size == item.size else f"{size} bytes, expected {item.size}")

    def _arrived(self, place: _Place, item: Chunk, buffer: memoryview) -> None:
        if self._onlooker and item.size == self._sizes[place.path]:  # the whole file is at hand, verified
            self._onlooker(place.path, buffer[: item.size])
        with self._lock:
            self._waiting[place.path] -= 1
            is_last = self._waiting[place.path] == 0
        self._watcher.moved(item.size)
        if is_last:
            self._watcher.finished(place.path)
