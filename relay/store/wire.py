"""HTTP/1.1 to one server over kept connections: one request out, one answer back, no copies and no second thoughts.

A frame of a small reel takes boto3 five times the processor time of this, on machines where the store often runs
beside us (tests/bench/store_wire.py). What fails raises an OSError; whether to try again is for the caller, except
that a connection which the server had closed while it lay idle is replaced at once.
"""

import os
import re
import select
import socket
import ssl
import weakref
from collections import deque
from typing import BinaryIO, NamedTuple

Body = bytes | bytearray | memoryview

CONNECT_TIMEOUT = 10.0  # seconds
SILENCE_TIMEOUT = 60.0  # seconds without a single byte going out or coming in
_SLICE = 256 * 1024  # bytes that must go out within one such time
_LINE_LIMIT = 16 * 1024  # bytes
_HEADER_LIMIT = 100  # lines
_NO_BODY = {204, 304}
_HUNG_UP = (ConnectionError, ssl.SSLEOFError)
_CHUNK = re.compile(rb"([0-9a-fA-F]{1,8})[;\r\n]")
REMARK_LIMIT = 64 * 1024  # bytes; what a server says when it refuses


class CutError(ConnectionError):
    """The answer ended before its end, or is not HTTP."""


class Answer(NamedTuple):
    """What came back. `body` is empty where it went into the caller's buffer or is larger than was allowed."""

    status: int
    headers: dict[str, str]
    size: int  # bytes
    body: bytes


class _Question(NamedTuple):
    method: str
    head: bytes
    body: memoryview
    into: memoryview | None
    limit: int  # bytes


class Wire:
    """Connections to one server, used by any number of threads."""

    def __init__(
        self, host: str, port: int, tls: ssl.SSLContext | None = None, silence: float = SILENCE_TIMEOUT
    ) -> None:
        self._host = host
        self._port = port
        self._tls = tls
        self._silence = silence
        self._process = os.getpid()
        self._idle: deque[_Connection] = deque()
        weakref.finalize(self, _close_all, self._idle)

    def exchange(
        self,
        method: str,
        path: str,
        headers: dict[str, str],
        body: Body = b"",
        *,
        into: memoryview | None = None,
        limit: int = 0,
    ) -> Answer:
        """Send one request and return its answer; a body goes into `into`, or is returned up to `limit` bytes."""
        view = memoryview(body).cast("B")
        question = _Question(method, _head(method, path, headers, len(view)), view, into, limit)
        kept = self._kept()
        if kept is not None:
            try:
                return self._asked(kept, question)
            except _HUNG_UP:
                if kept.answering:
                    raise
                _close_all(self._idle)  # closed while it lay idle, so the others are as well
        return self._asked(self._connected(), question)

    def _asked(self, connection: "_Connection", question: _Question) -> Answer:
        try:
            connection.send(question.head, question.body)
            answer = connection.receive(question)
        except BaseException:
            connection.close()
            raise
        if connection.keeps:
            self._idle.append(connection)
        else:
            connection.close()
        return answer

    def _kept(self) -> "_Connection | None":
        if self._process != os.getpid():  # a fork: these connections are our parent's
            _close_all(self._idle)
            self._process = os.getpid()
        while self._idle:
            try:
                connection = self._idle.pop()
            except IndexError:
                return None
            if connection.is_quiet():
                return connection
            connection.close()
        return None

    def _connected(self) -> "_Connection":
        link = socket.create_connection((self._host, self._port), CONNECT_TIMEOUT)
        try:
            link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._tls is not None:
                link = self._tls.wrap_socket(link, server_hostname=self._host)
            link.settimeout(self._silence)
        except BaseException:
            link.close()
            raise
        return _Connection(link)


class _Connection:
    def __init__(self, link: socket.socket) -> None:
        self._link = link
        self._reader: BinaryIO = link.makefile("rb")
        self._secret = isinstance(link, ssl.SSLSocket)
        self.keeps = True
        self.answering = False

    def is_quiet(self) -> bool:
        """Answer whether nothing has come in since the last answer: what comes unasked is the server's farewell."""
        if self._secret:  # TLS talks to itself now and then
            return True
        poll = select.poll()
        poll.register(self._link, select.POLLIN)
        return not poll.poll(0)

    def close(self) -> None:
        self._reader.close()
        self._link.close()

    def send(self, head: bytes, body: memoryview) -> None:
        self.answering = False
        try:
            self._send_all(head, body)
        except _HUNG_UP:
            # A server that refuses early says so and hangs up: its answer, if there is one, waits to be read.
            self.keeps = False

    def _send_all(self, head: bytes, rest: memoryview) -> None:
        if self._secret:
            self._link.sendall(head)
        else:
            sent = self._link.sendmsg([head, rest[:_SLICE]])
            if sent < len(head):
                self._link.sendall(head[sent:])
            rest = rest[max(0, sent - len(head)) :]
        while rest:
            rest = rest[self._link.send(rest[:_SLICE]) :]

    def receive(self, question: _Question) -> Answer:
        status, headers = self._status(), self._headers()
        while 100 <= status < 200:
            status, headers = self._status(), self._headers()
        if "close" in headers.get("connection", "").lower():
            self.keeps = False
        if question.method == "HEAD" or status in _NO_BODY:
            return Answer(status, headers, _length(headers) or 0, b"")
        if status >= 300:
            question = question._replace(into=None, limit=REMARK_LIMIT)
        if "chunked" in headers.get("transfer-encoding", "").lower():
            return self._chunked(status, headers, question)
        return self._sized(status, headers, question)

    def _line(self) -> bytes:
        line = self._reader.readline(_LINE_LIMIT)
        if not line.endswith(b"\n"):
            raise CutError("the answer ended in the middle of a line")
        return line

    def _status(self) -> int:
        line = self._line()
        self.answering = True
        version, _, rest = line.partition(b" ")
        if not version.startswith(b"HTTP/1.") or not rest[:3].isdigit():
            raise CutError(f"the answer is not HTTP/1.1: it starts with {line[:40]!r}")
        if version == b"HTTP/1.0":
            self.keeps = False
        return int(rest[:3])

    def _headers(self) -> dict[str, str]:
        headers: dict[str, str] = {}
        for _ in range(_HEADER_LIMIT):
            line = self._line().rstrip(b"\r\n")
            if not line:
                return headers
            name, _, value = line.decode("latin-1").partition(":")
            if headers.setdefault(name.lower(), value.strip()) != value.strip() and name.lower() == "content-length":
                raise CutError("the answer gives two lengths")
        raise CutError(f"the answer has more than {_HEADER_LIMIT} lines of headers")

    def _sized(self, status: int, headers: dict[str, str], question: _Question) -> Answer:
        size = _length(headers)
        if size is None:
            raise CutError("the answer does not say how long it is")
        if size > question.limit:
            self.keeps = False  # with the body still in it
            return Answer(status, headers, size, b"")
        if question.into is not None:
            self._fill(question.into[:size])
            return Answer(status, headers, size, b"")
        body = self._reader.read(size)
        if len(body) < size:
            raise CutError(f"the answer ended after {len(body)} of {size} bytes")
        return Answer(status, headers, size, body)

    def _fill(self, view: memoryview) -> None:
        done = 0
        while done < len(view):
            count = self._reader.readinto(view[done:])  # type: ignore[attr-defined]  # BinaryIO hides that it is buffered
            if not count:
                raise CutError(f"the answer ended after {done} of {len(view)} bytes")
            done += count

    def _chunked(self, status: int, headers: dict[str, str], question: _Question) -> Answer:
        body = bytearray()
        while size := _chunk_size(self._line()):
            if len(body) + size > question.limit:
                self.keeps = False
                return Answer(status, headers, len(body) + size, b"")
            body += self._reader.read(size)
            if self._line() != b"\r\n":
                raise CutError("a chunk of the answer has not the length it says")
        self._headers()
        if question.into is None:
            return Answer(status, headers, len(body), bytes(body))
        question.into[: len(body)] = body
        return Answer(status, headers, len(body), b"")


def _head(method: str, path: str, headers: dict[str, str], size: int) -> bytes:
    lines = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
    return f"{method} {path} HTTP/1.1\r\n{lines}content-length: {size}\r\n\r\n".encode("latin-1")


def _length(headers: dict[str, str]) -> int | None:
    text = headers.get("content-length", "")
    return int(text) if text.isascii() and text.isdigit() else None


def _chunk_size(line: bytes) -> int:
    found = _CHUNK.match(line)
    if found is None:
        raise CutError(f"a chunk of the answer gives no length, but {line[:20]!r}")
    return int(found[1], 16)


def _close_all(idle: "deque[_Connection]") -> None:
    while idle:
        try:
            idle.pop().close()
        except IndexError:
            return
