"""A line that loses answers, lands writes late and meets a server that is asked too much, one request at a time.

What becomes of a request is drawn from the seed, its method, its key and how often it was asked before, so that threads
may interleave as they like. `Fate.LOSE_ANSWER` is the one to fear: the server did it, and the client cannot know.
"""

import random
import socket
import time
from collections import Counter, deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import StrEnum
from threading import Lock
from typing import BinaryIO, NamedTuple, Self

from tests.servers.cutting import reset
from tests.servers.http_wire import Message, read_answer, read_head, read_request
from tests.servers.proxy import Proxy, address_of, started
from tests.servers.s3 import S3Server


class Fate(StrEnum):
    PASS = "pass"
    LOSE_REQUEST = "lose-request"
    """The server never hears of it."""
    CUT_BODY = "cut-body"
    """The server gets half of the body."""
    LOSE_ANSWER = "lose-answer"
    """The server does it and answers; nothing of the answer arrives."""
    CUT_ANSWER = "cut-answer"
    """Half of the answer's body arrives, or of its status line where it has none."""
    LAND_LATE = "land-late"
    """The client sees a dead connection at once; the server gets the request `lateness` seconds later."""
    SLOW_DOWN = "slow-down"
    """503, to this request and to up to four more."""
    CONFLICT = "conflict"
    """409 ConditionalRequestConflict: nothing was written; try the same again."""


class Asked(NamedTuple):
    method: str
    path: str
    fate: Fate


_REFUSALS = {
    Fate.SLOW_DOWN: ("503 Slow Down", "SlowDown"),
    Fate.CONFLICT: ("409 Conflict", "ConditionalRequestConflict"),
}
_LOSSES = {Fate.LOSE_REQUEST, Fate.CUT_BODY, Fate.LOSE_ANSWER, Fate.LAND_LATE}
_GOES_ON = {Fate.PASS, *_REFUSALS}


def _refusal(fate: Fate) -> bytes:
    status, code = _REFUSALS[fate]
    body = f"<Error><Code>{code}</Code><Message>please try again</Message></Error>"
    return f"HTTP/1.1 {status}\r\nContent-Type: application/xml\r\nContent-Length: {len(body)}\r\n\r\n{body}".encode()


class FailingProxy(Proxy):
    """`shares` says how likely each fate is; `only`, given method and path, which requests it may strike."""

    def __init__(
        self,
        server: S3Server,
        seed: int = 0,
        shares: Mapping[Fate, float] | None = None,
        *,
        only: Callable[[str, str], bool] = lambda method, _path: method == "PUT",
        lateness: float = 0.1,
    ) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        super().__init__(server, self._listener.getsockname()[1])
        self._to = address_of(server.endpoint)
        self._seed = seed
        self._shares = dict(shares or {})
        self._only = only
        self._lateness = lateness
        self._lock = Lock()
        self._next: deque[Fate] = deque()
        self._times: Counter[str] = Counter()
        self.asked: list[Asked] = []
        """Every request that came, in order."""
        started(self._accept)

    def next(self, *fates: Fate) -> None:
        """Give these fates to the next requests that may be struck."""
        with self._lock:
            self._next.extend(fates)

    def count(self, fate: Fate) -> int:
        """Return how many requests met `fate`."""
        return sum(asked.fate is fate for asked in list(self.asked))

    def stop(self) -> None:
        self._listener.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_what: object) -> None:
        self.stop()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                near.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                started(self._talk, near)

    def _talk(self, near: socket.socket) -> None:
        last = Fate.PASS
        with suppress(OSError), near.makefile("rb") as stream:
            while last in _GOES_ON and (request := self._request(near, stream)):
                last = self._fate(request)
                self._meet(request, last, near)
        if last in _LOSSES:
            reset(near)
        near.close()

    def _meet(self, request: Message, fate: Fate, near: socket.socket) -> None:
        if fate in _REFUSALS:
            near.sendall(_refusal(fate))
        elif fate is Fate.LAND_LATE:
            started(self._land, request)
        elif fate is Fate.CUT_BODY:
            with self._upstream() as far:
                far.sendall(request.head + request.body[: len(request.body) // 2])
        elif fate is not Fate.LOSE_REQUEST:
            answer = self._answer(request)
            if fate is Fate.CUT_ANSWER:
                near.sendall(answer.head + answer.body[: len(answer.body) // 2] if answer.body else answer.head[:8])
            elif fate is Fate.PASS:
                near.sendall(answer.head + answer.body)

    def _request(self, near: socket.socket, stream: BinaryIO) -> Message | None:
        head = read_head(stream)
        if head is None:
            return None
        if head.headers.get("expect", "").lower() == "100-continue":
            near.sendall(b"HTTP/1.1 100 Continue\r\n\r\n")
        return read_request(head, stream)

    def _land(self, request: Message) -> None:
        time.sleep(self._lateness)
        with suppress(OSError):
            self._answer(request)

    def _answer(self, request: Message) -> Message:
        # A connection of its own for each: one that the server closed while it lay idle would look like a fault.
        with self._upstream() as far, far.makefile("rb") as back:
            far.sendall(request.head + request.body)
            answer = read_answer(back, request.method)
        if answer is None:
            raise ConnectionAbortedError("the server ended the connection")
        return answer

    def _upstream(self) -> socket.socket:
        far = socket.create_connection(self._to)
        far.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return far

    def _fate(self, request: Message) -> Fate:
        with self._lock:
            fate = self._drawn(request.method, request.path)
            self.asked.append(Asked(request.method, request.path, fate))
        return fate

    def _drawn(self, method: str, path: str) -> Fate:
        if not self._only(method, path):
            return Fate.PASS
        if self._next:
            return self._next.popleft()
        # Buckets have new names in each run; what lies in them has not.
        what = f"{method} {path.lstrip('/').partition('/')[2]}"
        self._times[what] += 1
        dice = random.Random(f"{self._seed} {what} {self._times[what]}")
        fate = dice.choices(
            [*self._shares, Fate.PASS], [*self._shares.values(), max(0.0, 1 - sum(self._shares.values()))]
        )[0]
        if fate is Fate.SLOW_DOWN:
            self._next.extend([fate] * dice.randrange(5))
        return fate
