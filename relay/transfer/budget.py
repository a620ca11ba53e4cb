"""Bytes in flight, capped: whoever wants to hold a file's bytes waits until they fit."""

import mmap
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress

IN_FLIGHT = 128 * 1024 * 1024  # bytes

_GRAIN = 256 * 1024  # bytes; buffers come in multiples of this, so that files of nearly equal size share them


class Budget:
    """Lends buffers whose sizes together stay within a limit, first come, first served.

    A buffer is used again for the next file of about its size: fresh memory costs a page fault every 4 KiB.
    """

    def __init__(self, limit: int = IN_FLIGHT) -> None:
        self.limit = limit  # bytes
        self.peak = 0  # bytes lent at once, the most so far
        self._lent = 0
        self._idle: list[mmap.mmap] = []
        self._queue: deque[object] = deque()
        self._changed = threading.Condition()

    @contextmanager
    def of(self, size: int) -> Iterator[memoryview]:
        """Lend `size` bytes of memory; what is in them is left over from earlier. Waits until they fit.

        A holder must not ask for more before it gives back what it has. Raises ValueError when `size` is
        over the limit, since that would wait for ever.
        """
        if size > self.limit:
            raise ValueError(f"{size} bytes will never fit into {self.limit}")
        buffer = self._take(size)
        try:
            with memoryview(buffer) as whole, whole[:size] as view:
                yield view
        finally:
            self._give_back(buffer)

    def _take(self, size: int) -> mmap.mmap:
        room = min(self.limit, max(1, -(-size // _GRAIN)) * _GRAIN)
        turn = object()
        with self._changed:
            self._queue.append(turn)
            try:
                self._changed.wait_for(lambda: self._queue[0] is turn and self._lent + room <= self.limit)
                buffer = self._buffer(room)
                self._lent += room
                self.peak = max(self.peak, self._lent)
            finally:
                self._queue.remove(turn)
                self._changed.notify_all()
        return buffer

    def _buffer(self, room: int) -> mmap.mmap:
        for place in range(len(self._idle) - 1, -1, -1):
            if len(self._idle[place]) == room:
                return self._idle.pop(place)
        idle = sum(len(buffer) for buffer in self._idle)
        while self._idle and self._lent + room + idle > self.limit:
            idle -= len(self._idle.pop(0))  # freed with its last reference
        buffer = mmap.mmap(-1, room)
        if hasattr(mmap, "MADV_HUGEPAGE"):
            with suppress(OSError):  # a system built without large pages
                buffer.madvise(mmap.MADV_HUGEPAGE)
        return buffer

    def _give_back(self, buffer: mmap.mmap) -> None:
        with self._changed:
            self._lent -= len(buffer)
            self._idle.append(buffer)
            self._changed.notify_all()
