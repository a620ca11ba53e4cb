"""Pictures and findings that lie in the store, read once and kept in memory: they are named by what they hold."""

import threading
from collections import OrderedDict

from relay.board.kept import Kept
from relay.errors import TransientError
from relay.ledger.state import Inspected
from relay.media.findings import Report
from relay.model import Digest
from relay.transfer.looked import read_object, read_report
from relay.transfer.seat import Seat

ROOM = 64 * 1024 * 1024
"""Bytes of objects that are kept; the longest unused go first."""


class Shelf:
    """What was read lately. Used by many threads."""

    def __init__(self, seat: Seat) -> None:
        self._seat = seat
        self._lock = threading.Lock()
        self._bodies: OrderedDict[Digest, bytes] = OrderedDict()
        self._reports = Kept()

    def body(self, digest: Digest) -> bytes:
        """Return an object, verified. Raises MissingError, BrokenError, TransientError."""
        with self._lock:
            if digest in self._bodies:
                self._bodies.move_to_end(digest)
                return self._bodies[digest]
        body = read_object(self._seat, digest)
        with self._lock:
            self._bodies[digest] = body
            while len(self._bodies) > 1 and sum(map(len, self._bodies.values())) > ROOM:
                self._bodies.popitem(last=False)
        return body

    def report(self, looked: Inspected, *, ask: bool = True) -> Report:
        """Return what was found; unless `ask`, only what is here. Raises MissingError, BrokenError, TransientError."""

        def read() -> Report:
            if not ask:
                raise TransientError(f"the findings of entry {looked.entry} were not read before the store went away")
            return read_report(self._seat, looked)

        report: Report = self._reports.get((looked.report,), read)
        return report
