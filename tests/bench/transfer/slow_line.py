"""A long line to a server: what is sent arrives half a round trip later, and each connection carries only so much.

    python -m tests.bench.transfer.slow_line PORT TO_PORT ROUND_TRIP_MS BYTES_PER_SECOND

Every connection has a rate of its own in each direction, as a line has whose far end is limited by its window.
"""

import socket
import sys
import threading
import time
from collections import deque
from dataclasses import dataclass, field

_PIECE = 64 * 1024  # bytes read at once
_WINDOW = 4 * 1024 * 1024  # bytes under way in one direction of one connection


@dataclass
class Direction:
    """One way of one connection."""

    source: socket.socket
    sink: socket.socket
    delay: float  # seconds
    rate: float  # bytes a second
    _under_way: deque[tuple[float, bytes]] = field(default_factory=deque)
    _size: int = 0
    _changed: threading.Condition = field(default_factory=threading.Condition)

    def start(self) -> None:
        for work in (self._take_in, self._give_out):
            threading.Thread(target=work, daemon=True).start()

    def _take_in(self) -> None:
        free_at = time.monotonic()
        while True:
            try:
                piece = self.source.recv(_PIECE)
            except OSError:
                piece = b""
            free_at = max(free_at, time.monotonic()) + len(piece) / self.rate
            with self._changed:
                self._changed.wait_for(lambda: self._size < _WINDOW)
                self._under_way.append((free_at + self.delay, piece))
                self._size += len(piece)
                self._changed.notify_all()
            if not piece:
                return

    def _give_out(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._under_way)
                due, piece = self._under_way.popleft()
            time.sleep(max(0.0, due - time.monotonic()))
            try:
                self.sink.sendall(piece) if piece else self.sink.shutdown(socket.SHUT_WR)
            except OSError:
                return
            with self._changed:
                self._size -= len(piece)
                self._changed.notify_all()


def serve(port: int, to_port: int, round_trip: float, rate: float) -> None:
    """Carry every connection to `port` on to `to_port`; times in seconds, rates in bytes a second."""
    with socket.create_server(("127.0.0.1", port), backlog=128) as listening:
        print("listening", flush=True)
        while True:
            near, _ = listening.accept()
            far = socket.create_connection(("127.0.0.1", to_port))
            for link in (near, far):
                link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            Direction(near, far, round_trip / 2, rate).start()
            Direction(far, near, round_trip / 2, rate).start()


if __name__ == "__main__":
    own, to, milliseconds, bytes_per_second = sys.argv[1:]
    serve(int(own), int(to), float(milliseconds) / 1000, float(bytes_per_second))
