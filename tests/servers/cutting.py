"""A line that breaks: after so many bytes every connection is reset, in the middle of whatever it carried."""

import random
import socket
import struct
from collections.abc import Iterable
from contextlib import suppress
from threading import Lock
from typing import Self

from tests.servers.proxy import Proxy, address_of, started
from tests.servers.s3 import S3Server

PIECE = 256 * 1024  # bytes
RESET = struct.pack("ii", 1, 0)  # SO_LINGER with 0 seconds: closing sends RST, as a dead line's far end does


def reset(connection: socket.socket) -> None:
    """End it so that the other side sees an error, not an end."""
    with suppress(OSError):
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
    with suppress(OSError):
        # Wakes whoever waits in recv; close alone would leave the socket open below them.
        connection.shutdown(socket.SHUT_RD)
    connection.close()


class CuttingProxy(Proxy):
    """Counts the bytes that pass, both ways together, and cuts all connections where it was told to."""

    def __init__(self, server: S3Server) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        super().__init__(server, self._listener.getsockname()[1])
        self._to = address_of(server.endpoint)
        self._lock = Lock()
        self._open: set[socket.socket] = set()
        self._places: list[int] = []
        self.passed = 0
        """Bytes so far."""
        self.cuts = 0
        """Cuts so far, each of all connections that were open."""
        started(self._accept)

    def cut_after(self, *counts: int) -> None:
        """Cut when so many more bytes have passed; several counts make several cuts."""
        with self._lock:
            self._places = sorted([*self._places, *(self.passed + count for count in counts)])

    def cut_at_random(self, times: int, within: int, seed: int) -> None:
        """Cut `times` times, at places drawn from the next `within` bytes."""
        self.cut_after(*random.Random(seed).sample(range(1, within), times))

    def stop(self) -> None:
        self._listener.close()
        self._reset(self._taken())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_what: object) -> None:
        self.stop()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(self._to)
            except OSError:
                reset(near)
                continue
            with self._lock:
                self._open |= {near, far}
            for one, other in ((near, far), (far, near)):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                started(self._carry, one, other)

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(PIECE):
                good, cut = self._count(len(data))
                other.sendall(memoryview(data)[:good])
                self._reset(cut)
        with self._lock:
            self._open -= {one, other}
        for each in (one, other):
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _count(self, size: int) -> tuple[int, Iterable[socket.socket]]:
        """Return how many of `size` bytes may still pass, and the connections to be cut after them."""
        with self._lock:
            if not self._places or self.passed + size < self._places[0]:
                self.passed += size
                return size, ()
            good = self._places[0] - self.passed
            self.passed = self._places.pop(0)
            self.cuts += 1
        return good, self._taken()

    def _taken(self) -> set[socket.socket]:
        with self._lock:
            taken, self._open = self._open, set()
        return taken

    def _reset(self, connections: Iterable[socket.socket]) -> None:
        for connection in connections:
            reset(connection)
