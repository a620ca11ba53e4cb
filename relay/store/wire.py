"""HTTP/1.1 to one server over kept connections: one request out, one answer back, no copies and no second thoughts.

A frame of a small reel takes boto3 five times the processor time of this, on machines where the store often runs
beside us (tests/bench/store_wire.py). What fails raises an OSError; whether to try again is for the caller, except
that a connection which the server had closed while it lay idle is replaced at once.
"""

import fcntl
import os
import re
import select
import socket
import ssl
import struct
import sys
import termios
import weakref
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

Body = bytes | bytearray | memoryview

CONNECT_TIMEOUT = 10.0  # seconds
SILENCE_TIMEOUT = 60.0  # seconds without a single byte going out or coming in
_SLICE = 256 * 1024  # bytes that must go out within one such time
_LINE_LIMIT = 16 * 1024  # bytes
_HEADING_LIMIT = 64 * 1024  # bytes
_GULP = 16 * 1024  # bytes
_SYSTEM = os.uname().sysname
_GLANCE = 5  # milliseconds between two looks at how much of a body the other machine has
_STEP = 1024 * 1024  # bytes
_NOT_CONFIRMED_MACOS = 0x1024  # SO_NWRITE, from sys/socket.h
_PIECE = 4 * 1024 * 1024  # bytes of a body that come before we are woken: a wake-up costs as much as copying 100 KB
_STATUS = re.compile(r"HTTP/1\.([01]) (\d{3})")
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
    carried: Callable[[int], None] | None


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
        carried: Callable[[int], None] | None = None,
    ) -> Answer:
        """Send one request and return its answer; a body goes into `into`, or is returned up to `limit` bytes.

        `carried` is told, now and then until the answer comes, how many bytes the other machine's system has not
        confirmed yet, if that is known here. From the first time on `body` is not looked at again.
        """
        view = memoryview(body).cast("B")
        question = _Question(method, _head(method, path, headers, len(view)), view, into, limit, carried)
        kept = self._kept()
        if kept is not None:
            try:
                return self._asked(kept, question)
            except _HUNG_UP:
                if kept.answering or kept.told:
                    raise
                _close_all(self._idle)  # closed while it lay idle, so the others are as well
        return self._asked(self._connected(), question)

    def _asked(self, connection: "_Connection", question: _Question) -> Answer:
        try:
            connection.send(question.head, question.body)
            if question.carried:
                connection.follow(question.carried)
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
        self._inbox = _Inbox(link)
        self._secret = isinstance(link, ssl.SSLSocket)
        self.keeps = True
        self.answering = False
        self.told = False

    def is_quiet(self) -> bool:
        """Answer whether nothing came since the last answer: what comes unasked does not answer the next question."""
        if self._inbox.held or self._secret:  # TLS talks to itself now and then
            return not self._inbox.held
        poll = select.poll()
        poll.register(self._link, select.POLLIN)
        return not poll.poll(0)

    def close(self) -> None:
        self._link.close()

    def send(self, head: bytes, body: memoryview) -> None:
        self.answering = self.told = False
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

    def follow(self, carried: Callable[[int], None]) -> None:
        """Tell how much is on its way still, until nothing is or the answer is there."""
        poll = select.poll()
        poll.register(self._link, select.POLLIN)
        told = sys.maxsize
        while self.keeps and told and (left := _not_confirmed(self._link)) is not None:
            if left == 0 or told - left > _STEP:
                self.told = True
                carried(left)
                told = left
            if told and poll.poll(_GLANCE):
                return

    def receive(self, question: _Question) -> Answer:
        status, headers = self._heading()
        while 100 <= status < 200:
            status, headers = self._heading()
        if "close" in headers.get("connection", "").lower():
            self.keeps = False
        if question.method == "HEAD" or status in _NO_BODY:
            return Answer(status, headers, _length(headers) or 0, b"")
        if status >= 300:
            question = question._replace(into=None, limit=REMARK_LIMIT)
        if "chunked" in headers.get("transfer-encoding", "").lower():
            return self._chunked(status, headers, question)
        return self._sized(status, headers, question)

    def _heading(self) -> tuple[int, dict[str, str]]:
        first, *rest = self._inbox.until(b"\r\n\r\n", _HEADING_LIMIT).decode("latin-1").split("\r\n")[:-2]
        self.answering = True
        found = _STATUS.match(first)
        if found is None:
            raise CutError(f"the answer is not HTTP/1.1: it starts with {first[:40]!r}")
        if found[1] == "0":
            self.keeps = False
        headers: dict[str, str] = {}
        for line in rest:
            name, _, value = line.partition(":")
            if headers.setdefault(name.lower(), value.strip()) != value.strip() and name.lower() == "content-length":
                raise CutError("the answer gives two lengths")
        return int(found[2]), headers

    def _sized(self, status: int, headers: dict[str, str], question: _Question) -> Answer:
        size = _length(headers)
        if size is None:
            raise CutError("the answer does not say how long it is")
        if size > question.limit:
            self.keeps = False  # with the body still in it
            return Answer(status, headers, size, b"")
        if question.into is not None:
            self._inbox.fill(question.into[:size])
            return Answer(status, headers, size, b"")
        body = bytearray(size)
        self._inbox.fill(memoryview(body))
        return Answer(status, headers, size, bytes(body))

    def _chunked(self, status: int, headers: dict[str, str], question: _Question) -> Answer:
        body = bytearray()
        while size := _chunk_size(self._inbox.until(b"\r\n", _LINE_LIMIT)):
            if len(body) + size > question.limit:
                self.keeps = False
                return Answer(status, headers, len(body) + size, b"")
            chunk = bytearray(size)
            self._inbox.fill(memoryview(chunk))
            body += chunk
            if self._inbox.until(b"\r\n", _LINE_LIMIT) != b"\r\n":
                raise CutError("a chunk of the answer has not the length it says")
        while self._inbox.until(b"\r\n", _LINE_LIMIT) != b"\r\n":
            pass  # what is said after the last chunk means nothing to us
        if question.into is None:
            return Answer(status, headers, len(body), bytes(body))
        question.into[: len(body)] = body
        return Answer(status, headers, len(body), b"")


class _Inbox:
    """What came in and was not asked for yet; bodies go past it, straight to where they belong."""

    def __init__(self, link: socket.socket) -> None:
        self._link = link
        self._piece = 1 if sys.platform != "linux" or isinstance(link, ssl.SSLSocket) else _PIECE
        self.held = b""

    def until(self, mark: bytes, limit: int) -> bytes:
        """Return what comes up to and with `mark`, at most about `limit` bytes."""
        while (end := self.held.find(mark)) < 0:
            if len(self.held) > limit:
                raise CutError(f"the answer goes on and on: expected {mark!r} within {limit} bytes")
            more = self._link.recv(_GULP)
            if not more:
                raise CutError(f"the answer ended before {mark!r}")
            self.held += more
        end += len(mark)
        found, self.held = self.held[:end], self.held[end:]
        return found

    def fill(self, view: memoryview) -> None:
        done = min(len(view), len(self.held))
        view[:done], self.held = self.held[:done], self.held[done:]
        piece, least = self._piece, 1
        while done < len(view):
            if (wanted := min(piece, len(view) - done)) != least:
                self._link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, wanted)
                least = wanted
            try:
                count = self._link.recv_into(view[done:])
            except TimeoutError:
                if piece == 1:
                    raise
                piece = 1  # so slow a line brings less in that time; whether it is silent will be seen
                continue
            if not count:
                raise CutError(f"the answer ended after {done} of {len(view)} bytes")
            done += count
        if least != 1:
            self._link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, 1)


def _not_confirmed(link: socket.socket) -> int | None:
    """Return how many of the bytes that were sent the other machine's system has not confirmed, as TCP has it.

    None where this system does not say.
    """
    if _SYSTEM == "Linux":
        return int(struct.unpack("i", fcntl.ioctl(link, termios.TIOCOUTQ, bytes(4)))[0])  # tcp(7): SIOCOUTQ
    if _SYSTEM == "Darwin":
        return link.getsockopt(socket.SOL_SOCKET, _NOT_CONFIRMED_MACOS)
    return None


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
