"""How the suite opens each store, as often as it likes, also in another process."""

import errno
import multiprocessing
import os
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from relay.clock import SYSTEM_CLOCK, Clock
from relay.store.directory import DirectoryStore
from relay.store.port import Store
from relay.store.s3 import PAGE, S3Store
from relay.store.signing import Keys
from tests.contracts.memory_store import MemoryStore
from tests.servers.s3 import S3Server

_BUCKETS: dict[str, str] = {}


class Rig(Protocol):
    """One place to keep things in. Races are as hard as the store can bear in a test's time."""

    threads: int
    """Writers to one key in each of two processes."""
    keys: int
    """Keys that are raced for."""
    checks_bodies: bool
    """Whether the store itself refuses a body that is not what its digest says."""
    many_processes: bool
    page: int
    """Keys that it lists at once. To write a page of 1,000 takes moto ten seconds, and Ceph eight."""

    def open(self) -> Store:
        """Return a new client of the same place."""


class MemoryRig:
    threads, keys, checks_bodies, many_processes, page = 8, 50, True, False, PAGE

    def __init__(self) -> None:
        self._store = MemoryStore()

    def open(self) -> Store:
        return self._store


@dataclass
class DirectoryRig:
    root: Path
    threads: int = 8
    keys: int = 50
    checks_bodies: bool = False  # the caller has just hashed them, on this machine
    many_processes: bool = True
    page: int = PAGE

    def open(self) -> Store:
        return DirectoryStore.founded(self.root)


def refuse_links(*_args: object, **_how: object) -> None:
    raise PermissionError(errno.EPERM, "Operation not permitted")


class ShuttleRig(DirectoryRig):
    """A folder on a disk without links, which exFAT is: Linux answers EPERM (link(2))."""

    def open(self) -> Store:
        if multiprocessing.parent_process() is not None:
            os.link = refuse_links  # this process has no other use
        return super().open()


@dataclass
class S3Rig:
    endpoint: str
    access_key: str
    secret_key: str
    bucket: str
    prefix: str
    threads: int = 8
    keys: int = 50
    checks_bodies: bool = True
    many_processes: bool = True
    page: int = PAGE

    @classmethod
    def on(cls, server: S3Server, prefix: str, **how: int) -> "S3Rig":
        # One bucket a server, since a new one can take seconds, and a prefix of its own for every test.
        if server.endpoint not in _BUCKETS:
            _BUCKETS[server.endpoint] = server.bucket()
        bucket = _BUCKETS[server.endpoint]
        own = f"{prefix}/{uuid.uuid4().hex}"
        return cls(server.endpoint, server.access_key, server.secret_key, bucket, own, **how)

    def open(self, *, secret: str | None = None, access: str | None = None, clock: Clock = SYSTEM_CLOCK) -> S3Store:
        keys = Keys(access or self.access_key, secret or self.secret_key)
        return S3Store(self.bucket, self.prefix, endpoint=self.endpoint, keys=keys, clock=clock, page=self.page)
