"""A board that runs: seats taken, the watch started, the door's address printed, served until stopped."""

import secrets
import socket
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import uvicorn
from fastapi import FastAPI

from relay.board.acting import Actors
from relay.board.app import board_app
from relay.board.desk import Board, OneTime
from relay.board.guard import Tries
from relay.board.people import People
from relay.board.reckoning import Apart, Here, Reckoner
from relay.board.shelf import Shelf
from relay.board.supposing import Supposing
from relay.board.watch import Watch
from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError
from relay.settings import Home
from relay.wiring import take_seat

LOCAL = ("127.0.0.1", "localhost")
HANDS_OVER = 0.0005
"""Seconds after which a thread that reckons lets one that answers go first. At Python's own 0.005 a page, whose answer
changes hands some thirty times, took 0.15 s longer while a forecast was under way."""

KEEPS_LINE = 75
"""Seconds that a quiet line is kept open: a page asks anew within a minute, and need not begin one for that."""

GOODBYE = 2
"""Seconds that open pages are given when the board stops."""


@dataclass(frozen=True)
class Place:
    """Where a board listens, and how people come to it."""

    address: str = "127.0.0.1"
    port: int = 8730
    hosts: tuple[str, ...] = ()
    """Names that people call it by, beside 127.0.0.1 and localhost."""
    certificate: Path | None = None
    key: Path | None = None
    is_behind_proxy: bool = False
    """A proxy before it speaks HTTPS."""

    @property
    def is_local(self) -> bool:
        return self.address in LOCAL

    @property
    def is_secure(self) -> bool:
        return self.certificate is not None or self.is_behind_proxy

    def check(self) -> None:
        """Raise RefusedError where passwords would travel in the clear."""
        if not self.is_local and not self.is_secure:
            raise RefusedError(
                f"on {self.address} passwords would travel in the clear: give --certificate and --key, or say "
                "--behind-proxy where one speaks HTTPS before the board. Without --listen it serves this machine alone"
            )
        if not self.is_local and not self.hosts:
            raise RefusedError("say by which name people call this board, with --host board.example.org")


def board_at(home: Home, others: Sequence[Home], *, once: str | None, reckoner: Reckoner | None = None) -> Board:
    """Return the board of the site at `home`, which speaks for the sites at `others` as well. Raises RelayError.

    Forecasts come from `reckoner`; without one they are reckoned in this process, where pages wait for them.
    """
    seat = take_seat(home)
    reckoner = reckoner or Here(seat.clock)
    seats = {each.site: each for each in (seat, *(take_seat(other) for other in others))}
    folder, watch = home.folder / "board", Watch(seat, reckoner)
    if watch.picture.state.production is None:
        watch.look()  # this home has just joined: there is nothing to show before
    return Board(
        seat=seat,
        watch=watch,
        actors=Actors(seats),
        people=People(folder),
        tries=Tries(seat.clock),
        clock=seat.clock,
        folder=folder,
        once=OneTime(once),
        supposing=Supposing(reckoner),
        shelf=Shelf(seat),
    )


def secret_of(folder: Path) -> str:
    """Return the secret that signs this board's cookies, made at first. Raises RefusedError."""
    file = folder / "secret"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not file.exists():
            file.touch(mode=0o600)
            file.write_text(secrets.token_hex(32), encoding="ascii")
        return file.read_text(encoding="ascii")
    except OSError as error:
        raise RefusedError(f"{file} cannot be kept ({error.strerror}): make room, or get the right to write") from error


def app_at(
    home: Home, others: Sequence[Home], place: Place, *, once: str | None, reckoner: Reckoner | None = None
) -> FastAPI:
    """Return the application for `place`. Raises RelayError."""
    place.check()
    board = board_at(home, others, once=once, reckoner=reckoner)
    return board_app(board, hosts=(*LOCAL, *place.hosts), secret=secret_of(board.folder), is_secure=place.is_secure)


def serve(home: Home, others: Sequence[Home], place: Place, say: Callable[[str], None]) -> None:
    """Serve until stopped. `say` is told the address, with a secret in it that opens the door once."""
    once = secrets.token_urlsafe(24)
    app = app_at(home, others, place, once=once, reckoner=Apart())
    listening = _listening(place)
    scheme = "https" if place.certificate else "http"
    name = place.hosts[0] if place.hosts and not place.is_local else "127.0.0.1"
    say(f"{scheme}://{name}:{listening.getsockname()[1]}/enter?key={once}")
    server(app, place).run(sockets=[listening])


def server(app: FastAPI, place: Place) -> uvicorn.Server:
    """Return the server, not yet running. It writes no access log: an address may carry a secret."""
    sys.setswitchinterval(HANDS_OVER)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=KEEPS_LINE,
        timeout_graceful_shutdown=GOODBYE,
        ssl_certfile=str(place.certificate) if place.certificate else None,
        ssl_keyfile=str(place.key) if place.key else None,
        proxy_headers=place.is_behind_proxy,
    )
    return uvicorn.Server(config)


def _listening(place: Place) -> socket.socket:
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((place.address, place.port))
    except OSError as error:
        listening.close()
        raise RefusedError(
            f"{place.address}:{place.port} cannot be listened on ({error.strerror}): choose another with --port"
        ) from error
    return listening


class Running:
    """A board served in a thread: for tests, and for pictures of its pages."""

    def __init__(self, app: FastAPI) -> None:
        place = Place(port=0)
        self._listening = _listening(place)
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        self._server = server(app, place)
        self._app = app
        self._thread = threading.Thread(target=self._server.run, args=([self._listening],), daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        while not self._server.started and self._thread.is_alive():
            SYSTEM_CLOCK.wait(0.02)
        return self

    def __exit__(self, *_: object) -> None:
        self._app.state.is_stopping = True
        self._server.should_exit = True
        self._thread.join(10)
