"""A long line: every byte arrives half a round trip late, and a connection carries so many bytes a second.

A process of its own, so that it takes no time from the client that is measured. Connecting costs one round trip more,
as TCP's handshake does; slow start, loss and a line shared by several connections are not imitated.

All of a round trip lies before the request: the line takes its first bytes a round trip late, and carries the answer
at once. A client that sends one request and waits for its answer sees the same times as with half of it each way,
and its system sees each byte confirmed a round trip after it was sent, as on a real line.
"""

import asyncio
import socket
import sys
import time
from collections import deque
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Self

from tests.servers.process import Process, free_port
from tests.servers.proxy import Proxy, address_of
from tests.servers.s3 import S3Server, ServerNotReadyError

AHEAD = 0.01  # seconds of the line that may be taken from the sender before it must wait
WINDOW = 128 * 1024  # bytes that this system takes, and confirms, before the line does
CREDIT = 0.03  # seconds of the line that may be made up for when this process was late, so that the rate is true


class DelayingProxy(Proxy):
    """`round_trip` in seconds; `rate` in bytes a second, in each direction of each connection."""

    def __init__(self, server: S3Server, *, round_trip: float = 0.15, rate: float = 20e6) -> None:
        port = free_port()
        super().__init__(server, port)
        self._folder = TemporaryDirectory(prefix="relay-")
        host, to = address_of(server.endpoint)
        words = [str(word) for word in (port, host, to, round_trip, rate)]
        log = Path(self._folder.name) / "output.log"
        self._process = Process([sys.executable, "-m", "tests.servers.delaying", *words], log)
        self._wait(port)

    def stop(self) -> None:
        self._process.kill9()
        self._folder.cleanup()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_what: object) -> None:
        self.stop()

    def _wait(self, port: int) -> None:
        while self._process.is_running():
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    return
            time.sleep(0.02)
        raise ServerNotReadyError(f"the proxy ended; it said:\n{self._process.last_words()}")


class End(asyncio.Protocol):
    """One end of a connection. What comes in goes onto the line to the other end."""

    transport: asyncio.Transport
    other: "End"
    is_open = False
    held = False
    """Whether the other end cannot take more for now."""

    answered = True
    """Whether something went the other way since the last bytes came."""

    def __init__(self, delay: float, rate: float, free: float = 0.0) -> None:
        self._delay = delay
        """Seconds that the first bytes of a question wait."""
        self._rate = rate
        self._free = free
        """When the line can take the next byte, in the loop's seconds."""
        self._line: deque[tuple[float, bytes]] = deque()
        self._loop = asyncio.get_running_loop()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.transport = transport
        self.is_open = True

    def data_received(self, data: bytes) -> None:
        now = self._loop.time()
        if self.answered:
            self.answered = False
            self._free = max(self._free, now) + self._delay
        self._free = max(self._free, now - CREDIT) + len(data) / self._rate
        self._queue(max(self._free, now), data)
        if self._free > now + AHEAD:
            self.transport.pause_reading()
            self._loop.call_at(self._free, self._go_on)

    def eof_received(self) -> bool:
        self._queue(self._end(), b"")
        return True

    def connection_lost(self, _why: Exception | None) -> None:
        self.is_open = False
        self._queue(self._end(), b"")

    def _end(self) -> float:
        return max(self._free, self._loop.time())

    def pause_writing(self) -> None:
        self.other.held = True
        self.other.transport.pause_reading()

    def resume_writing(self) -> None:
        self.other.held = False
        self.other.transport.resume_reading()

    def _go_on(self) -> None:
        if not self.held:
            self.transport.resume_reading()

    def _queue(self, due: float, data: bytes) -> None:
        self._line.append((due, data))
        if len(self._line) == 1:
            self._loop.call_at(due, self._deliver)

    def _deliver(self) -> None:
        while self._line and self._line[0][0] <= self._loop.time():
            _, data = self._line.popleft()
            self._hand_over(data)
        if self._line:
            self._loop.call_at(self._line[0][0], self._deliver)

    def _hand_over(self, data: bytes) -> None:
        if not self.other.is_open:
            return
        if data:
            self.other.answered = True
            self.other.transport.write(data)
        else:
            self.other.transport.close()


async def serve(port: int, host: str, to: int, round_trip: float, rate: float) -> None:
    """Serve 127.0.0.1 until killed."""
    loop = asyncio.get_running_loop()
    meetings: set[asyncio.Task[None]] = set()

    async def meet(near: End) -> None:
        far = End(0.0, rate)
        near.other, far.other = far, near
        try:
            await loop.create_connection(lambda: far, host, to)
        except OSError:
            near.transport.abort()
            return
        near.transport.resume_reading()

    class Near(End):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(transport)
            self.transport.pause_reading()
            task = loop.create_task(meet(self))
            meetings.add(task)
            task.add_done_callback(meetings.discard)

    def near() -> End:
        return Near(round_trip, rate, free=loop.time() + round_trip)

    door = socket.create_server(("127.0.0.1", port))
    door.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, WINDOW)
    server = await loop.create_server(near, sock=door)
    await server.serve_forever()


if __name__ == "__main__":
    given = sys.argv[1:]
    asyncio.run(serve(int(given[0]), given[1], int(given[2]), float(given[3]), float(given[4])))
