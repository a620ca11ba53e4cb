"""What stands between a client and a server: the same S3 endpoint seen through an unkind network."""

from collections.abc import Callable
from threading import Thread
from urllib.parse import urlsplit

from tests.servers.s3 import S3Server

Address = tuple[str, int]


def address_of(endpoint: str) -> Address:
    """Return host and port of `http://127.0.0.1:9000`."""
    parts = urlsplit(endpoint)
    if parts.hostname is None or parts.port is None:
        raise ValueError(f"{endpoint!r} names no host and port")
    return parts.hostname, parts.port


class Proxy(S3Server):
    """Speaks for `server` at an endpoint of its own. Keys and buckets are the server's."""

    def __init__(self, server: S3Server, port: int) -> None:
        super().__init__(f"http://127.0.0.1:{port}", server.access_key, server.secret_key)
        self.server = server

    def bucket(self) -> str:
        """Create a bucket of a new name, on the direct way."""
        return self.server.bucket()

    def kill9(self) -> None:
        self.server.kill9()

    def restart(self) -> None:
        self.server.restart()

    def stop(self) -> None:
        """End the proxy, and leave the server running."""


def started(what: Callable[..., None], *told: object) -> Thread:
    """Return a thread that runs, and that nobody waits for when the tests end."""
    thread = Thread(target=what, args=told, daemon=True)
    thread.start()
    return thread
