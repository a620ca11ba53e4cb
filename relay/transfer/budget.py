"""Bytes in flight, capped: whoever wants to hold a file's bytes waits until they fit."""

import mmap
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress

IN_FLIGHT = 128 * 1024 * 1024  # bytes
IN_MEMORY = 192 * 1024 * 1024  # bytes; some of them arrived already, and wait for the rest of their file

_GRAIN = 256 * 1024  # bytes; buffers come in multiples of this, so that files of nearly equal size share them


class Loan:
    """Memory that is lent, and how many of its bytes are in flight still."""

    def __init__(self, buffer: mmap.mmap) -> None:
        self.buffer = buffer
        self.in_flight = len(buffer)


class Budget:
    """Lends buffers whose bytes in flight together stay within a limit, first come, first served.

    A buffer is used again for the next file of about its size: fresh memory costs a page fault every 4 KiB.
    """

    def __init__(self, limit: int = IN_FLIGHT) -> None:
        self.limit = limit  # bytes
        self.peak = 0  # bytes in flight at once, the most so far
        self._memory = limit * IN_MEMORY // IN_FLIGHT
        self._in_flight = 0
        self._held = 0
        self._idle: list[mmap.mmap] = []
        self._lock = threading.Lock()
        self._queue: deque[threading.Condition] = deque()

    @contextmanager
    def of(self, size: int) -> Iterator[memoryview]:
        """Lend `size` bytes of memory; what is in them is left over from earlier. Waits until they fit.

        A holder must not ask for more before it gives back what it has. Raises ValueError when `size` is
        over the limit, since that would wait for ever.
        """
        with self.loan(size) as (view, _):
            yield view

    @contextmanager
    def loan(self, size: int) -> Iterator[tuple[memoryview, Loan]]:
        """Lend as `of` does, to somebody who will say how much of it is in flight still."""
        if size > self.limit:
            raise ValueError(f"{size} bytes will never fit into {self.limit}")
        loan = Loan(self._take(size))
        try:
            with memoryview(loan.buffer) as whole, whole[:size] as view:
                yield view, loan
        finally:
            self._give_back(loan)

    def ease(self, loan: Loan, size: int) -> None:
        """Count no more than `size` bytes of `loan` as in flight: the others arrived where they were sent."""
        with self._lock:
            fewer = min(loan.in_flight, _room(size))
            self._in_flight -= loan.in_flight - fewer
            loan.in_flight = fewer
            self._call_the_next()

    def _take(self, size: int) -> mmap.mmap:
        room = min(self.limit, max(_GRAIN, _room(size)))
        turn = threading.Condition(self._lock)
        with turn:
            self._queue.append(turn)
            try:
                turn.wait_for(lambda: self._queue[0] is turn and self._fits(room))
                buffer = self._buffer(room)
                self._in_flight += room
                self._held += room
                self.peak = max(self.peak, self._in_flight)
            finally:
                self._queue.remove(turn)
                self._call_the_next()
        return buffer

    def _call_the_next(self) -> None:
        if self._queue:  # the others wait for this one first
            self._queue[0].notify()

    def _fits(self, room: int) -> bool:
        return self._in_flight + room <= self.limit and self._held + room <= self._memory

    def _buffer(self, room: int) -> mmap.mmap:
        for place in range(len(self._idle) - 1, -1, -1):
            if len(self._idle[place]) == room:
                return self._idle.pop(place)
        idle = sum(len(buffer) for buffer in self._idle)
        while self._idle and self._held + room + idle > self.limit:
            idle -= len(self._idle.pop(0))  # freed with its last reference
        buffer = mmap.mmap(-1, room, mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)  # shared memory gets no large pages
        if hasattr(mmap, "MADV_HUGEPAGE"):
            with suppress(OSError):  # a system built without large pages
                buffer.madvise(mmap.MADV_HUGEPAGE)
        return buffer

    def _give_back(self, loan: Loan) -> None:
        with self._lock:
            self._in_flight -= loan.in_flight
            self._held -= len(loan.buffer)
            self._idle.append(loan.buffer)
            self._call_the_next()


def _room(size: int) -> int:
    return -(-size // _GRAIN) * _GRAIN
