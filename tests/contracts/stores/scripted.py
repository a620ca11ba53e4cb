"""A server that says, request by request, what the script tells it to: the troubles that real servers seldom have."""

import contextlib
import socket
import ssl
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Self

DATE = "Tue, 01 Sep 2026 12:00:00 GMT"


@dataclass
class Request:
    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Reply:
    """Send exactly `raw`, then hang up or wait for the next request."""

    raw: bytes
    hang_up: bool = False
    before_body: bool = False
    """Answer as soon as the headers are in, and hang up with the body unread."""
    pieces: tuple[bytes, ...] = ()
    """What follows `raw`, piece by piece."""
    pause: float = 0.0
    """Seconds before each of them."""


def reply(status: int, body: bytes = b"", **headers: str) -> Reply:
    lines = {"content-length": str(len(body)), "date": DATE, **headers}
    head = f"HTTP/1.1 {status} Said\r\n" + "".join(
        f"{name.replace('_', '-')}: {text}\r\n" for name, text in lines.items()
    )
    return Reply(head.encode() + b"\r\n" + body)


def refusal(status: int, code: str, message: str = "", extra: str = "") -> Reply:
    xml = f"<?xml version='1.0'?><Error><Code>{code}</Code><Message>{message}</Message>{extra}</Error>"
    return reply(status, xml.encode(), content_type="application/xml")


HANG_UP = Reply(b"", hang_up=True)


@dataclass
class Scripted:
    """Answers on 127.0.0.1; the last line of the script is said again and again."""

    script: list[Reply]
    tls: ssl.SSLContext | None = None
    requests: list[Request] = field(default_factory=list)
    connections: int = 0

    def __post_init__(self) -> None:
        self._lock = threading.Lock()
        self._links: list[socket.socket] = []
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._socket.getsockname()[1]
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self.hang_up_all()
        for thread in self._threads:
            thread.join(10)

    @property
    def endpoint(self) -> str:
        return f"{'https' if self.tls else 'http'}://127.0.0.1:{self.port}"

    def hang_up_all(self) -> None:
        for link in self._links:
            with contextlib.suppress(OSError):
                link.shutdown(socket.SHUT_RDWR)

    def _accept(self) -> None:
        while True:
            try:
                link, _ = self._socket.accept()
            except OSError:
                return
            self.connections += 1
            thread = threading.Thread(target=self._serve, args=(link,), daemon=True)
            self._threads.append(thread)
            thread.start()

    def _serve(self, link: socket.socket) -> None:
        with link:
            try:
                if self.tls is not None:
                    link = self.tls.wrap_socket(link, server_side=True)
                self._links.append(link)
                with link, link.makefile("rb") as reader:
                    while self._answer(link, reader):
                        pass
            except OSError:
                pass

    def _answer(self, link: socket.socket, reader) -> bool:
        method, _, rest = reader.readline().decode().partition(" ")
        if not method:
            return False
        headers = {}
        while line := reader.readline().strip():
            name, _, text = line.decode("latin-1").partition(":")
            headers[name.lower()] = text.strip()
        with self._lock:
            said = self.script[min(len(self.requests), len(self.script) - 1)]
            request = Request(method, rest.split(" ")[0], headers, b"")
            self.requests.append(request)
        if not said.before_body:
            request.body = reader.read(int(headers.get("content-length", 0)))
        link.sendall(said.raw)
        for piece in said.pieces:
            time.sleep(said.pause)
            link.sendall(piece)
        return not (said.hang_up or said.before_body)


class PatientClock:
    """Waits by writing down how long it was told to; time passes only so."""

    def __init__(self, now: datetime = datetime(2026, 9, 1, 12, tzinfo=UTC), then: Callable[[], None] = lambda: None):
        self.waits: list[float] = []
        self._now = now
        self._then = then

    def now(self) -> datetime:
        return (self._now + timedelta(seconds=sum(self.waits))).replace(microsecond=0)

    def ticks(self) -> float:
        return sum(self.waits)

    def wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self._then()
