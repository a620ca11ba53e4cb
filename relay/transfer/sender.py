"""Puts objects into a store, each at most once, and believes none to be whole that this site did not prove.

Another site could have put wrong bytes under a digest, so an object that was there already counts only after it was
read back. What was proven is noted at once, and survives a kill.
"""

import threading
from collections.abc import Collection
from contextlib import nullcontext

from relay.errors import BrokenError, MissingError, TransientError
from relay.model import Digest, digest_of
from relay.store.keys import object_key
from relay.store.port import FarStore, Store
from relay.transfer.lent import Lent
from relay.transfer.notebook import Notebook

_LOOKED_AT = 4  # objects
WORTH_FOLLOWING = 1024 * 1024  # bytes; smaller ones make no other file wait


class Sender:
    """Sends to one store for the length of one deposit; safe for many threads."""

    def __init__(self, store: Store, notebook: Notebook, expected: Collection[Digest]) -> None:
        self.sent_objects = 0
        self.sent_bytes = 0
        self.already_there = 0  # objects
        self._store = store
        self._notebook = notebook
        self._expected = expected
        self._mine: set[Digest] = set()
        self._lock = threading.Lock()
        self._remembers = self._is_worth_believing()

    def _is_worth_believing(self) -> bool:
        """Answer whether anything is known of the store; forget all if it was emptied, or put back from a copy."""
        sample = self._notebook.some_proven(self._store.name, _LOOKED_AT)
        if any(self._store.size(object_key(digest)) is None for digest in sample):
            self._notebook.doubt(self._store.name)
            return False
        return bool(sample)

    def proven(self, digests: Collection[Digest]) -> set[Digest]:
        """Return which of `digests` are known to name whole objects in the store."""
        return self._notebook.proven(self._store.name, digests) if self._remembers else set()

    def put(self, digest: Digest, body: memoryview, path: str, lent: Lent | None = None) -> None:
        """See to it that the object named `digest` is in the store, whole; `body` may hold other bytes afterwards.

        `lent` hears how much of `body` has arrived, and has the bytes where they are wanted once more.
        Raises BrokenError, naming the file at `path`, when other bytes lie under that name.
        """
        with self._lock:
            if digest in self._mine:
                return
            self._mine.add(digest)
        if self.proven([digest]):
            self._count_there()
            return
        size = len(body)
        is_new = False if self._is_there(digest) else self._created(digest, body, lent)
        if not is_new:
            with lent.wanted() if lent else nullcontext(body) as again:
                is_new = is_new is None and self._store.create(object_key(digest), again, digest)
                if not is_new:
                    self._check_there(digest, again, path)
        if is_new:
            self._count_sent(size)
        else:
            self._count_there()
        self._notebook.prove(self._store.name, digest)

    def _created(self, digest: Digest, body: memoryview, lent: Lent | None) -> bool | None:
        """Answer whether this call created the object; None: it arrived, and the store's word did not come."""
        key = object_key(digest)
        if lent is None or len(body) < WORTH_FOLLOWING or not isinstance(self._store, FarStore):
            return self._store.create(key, body, digest)
        try:
            return self._store.create_carried(key, body, digest, lent.carried)
        except TransientError:
            if not lent.is_gone:
                raise
            return None

    def _is_there(self, digest: Digest) -> bool:
        return digest in self._expected and self._store.size(object_key(digest)) is not None

    def _check_there(self, digest: Digest, buffer: memoryview, path: str) -> None:
        """Read what lies under `digest` over the body that was to go there: no second buffer is needed."""
        key = object_key(digest)
        try:
            size = self._store.read_into(key, buffer)
            found = f"{size} bytes with the SHA-256 {digest_of(buffer[:size])}"
            whole = found == f"{len(buffer)} bytes with the SHA-256 {digest}"
        except MissingError as fault:
            raise TransientError(f"{self._store.name}: {key} was there and then was not: send again") from fault
        except BrokenError as fault:
            found, whole = str(fault), False
        if not whole:
            raise BrokenError(
                f"{self._store.name}: {key} holds wrong bytes, found {found}, expected the {len(buffer)} bytes of "
                f"{path!r}: the object must be mended from this file by a site that may mend, then send again"
            )

    def _count_there(self) -> None:
        with self._lock:
            self.already_there += 1

    def _count_sent(self, size: int) -> None:
        with self._lock:
            self.sent_objects += 1
            self.sent_bytes += size
