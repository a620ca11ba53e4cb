"""The port to a store, and what a store must promise.

*Once*: of all creates of one key, at most one ever takes effect.
*Whole*: a reader sees all of an object, or that there is none.
*At once*: after a create returns, every read and every list shows it.

`relay.store.probe` asks a real store for each promise; nothing is built on a store that fails one.

An object is at most `OBJECT_LIMIT` bytes, so that it always fits in memory and one conditional PUT carries it.
"""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import NamedTuple, Protocol, runtime_checkable

from relay.model import Digest

OBJECT_LIMIT = 128 * 1024 * 1024  # bytes


class Listed(NamedTuple):
    """One line of a listing."""

    key: str
    size: int  # bytes


class Store(Protocol):
    """A place that keeps objects under keys like `entries/0000000042`. Safe to call from many threads."""

    name: str
    """What people are told when this store is meant: an address without secrets."""

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: Digest) -> bool:
        """Create `key` with `body`, whose SHA-256 is `digest`, unless something is there already.

        True: this call, or an earlier try of the same call, created it. False: the key was taken before; by
        whom is for the caller to find out by reading it, since our own write whose answer was lost also looks
        like this. Raises TransientError when the outcome is unknown: the write may still land, so send the
        same bytes to the same key again. Raises BrokenError when the store found that the body is not `digest`.
        """

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        """Return the whole object. Raises MissingError; BrokenError when it is larger than `limit` bytes."""

    def read_into(self, key: str, buffer: memoryview) -> int:
        """Read the whole object into the front of `buffer` and return its size in bytes.

        Raises MissingError; BrokenError when the object is larger than the buffer.
        """

    def size(self, key: str) -> int | None:
        """Return the object's size in bytes, or None where there is none."""

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        """Yield what lies under `prefix` with a key greater than `after`, in the order of the keys' bytes."""

    def replace(self, key: str, body: bytes | bytearray | memoryview, digest: Digest, bad: Digest) -> bool:
        """Put `body` over the object at `key`, on the condition that what lies there now is the bytes of `bad`.

        The only way to change an object: a repair. False: something else lies there by now, or nothing.
        """

    def discard(self, key: str) -> None:
        """Remove `key`, if it is there and if the store lets us: for the traces of a probe."""

    def beat(self, key: str) -> None:
        """Give a sign of life at `key`, under `alive/`, over the last one. It has no history, and may be lost."""

    def age(self, key: str) -> float | None:
        """Return how many seconds ago, by the store's own clock, the last sign was given at `key`; None: never."""

    def now(self) -> datetime:
        """Return the store's own time, in UTC, to the second."""


@runtime_checkable
class FarStore(Protocol):
    """A store at the far end of a line, which can tell that bytes arrived before it says what became of them."""

    def create_carried(
        self, key: str, body: bytes | bytearray | memoryview, digest: Digest, carried: Callable[[int], None]
    ) -> bool:
        """Do as `create` does, and tell `carried` now and then how many bytes of `body` have not arrived yet.

        That is never promised to happen. From the first time on `body` may hold other bytes, and nothing is sent
        again: then TransientError says only that the store's word did not come; `create` with the same bytes asks.
        """
