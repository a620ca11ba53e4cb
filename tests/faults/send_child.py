"""A send in a process of its own, that can be killed: `send_child FOLDER NOTES LOG HANDS STORE...`.

STORE is `directory ROOT`, or `s3 BUCKET ENDPOINT ACCESS SECRET`. Every PUT is written to LOG, before it is begun and
after it was answered, with the number of the hand that did it; a line in a file survives the writer's kill.
"""

import os
import sys
import threading
from pathlib import Path

from relay.model import Digest
from relay.store.directory import DirectoryStore
from relay.store.port import Store
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from relay.transfer.deposit import deposit
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import Body


class Logged:
    """A store whose PUTs leave a line each."""

    def __init__(self, inner: Store, log: Path) -> None:
        self.name = inner.name
        self._inner = inner
        self._log = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def note(self, what: str, key: str) -> None:
        os.write(self._log, f"{what} {threading.get_ident()} {key}\n".encode())

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        self.note("begun", key)
        created = self._inner.create(key, body, digest)
        self.note("answered", key)
        return created

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)


def store_of(kind: str, *where: str) -> Store:
    if kind == "directory":
        return DirectoryStore.founded(Path(where[0]))
    bucket, endpoint, access, secret = where
    return S3Store(bucket, "film", endpoint=endpoint, region="us-east-1", keys=Keys(access, secret))


def main(folder: str, notes: str, log: str, hands: str, *where: str) -> None:
    store = Logged(store_of(*where), Path(log))
    with Notebook(Path(notes)) as notebook:
        store.note("ready", "-")
        done = deposit(Path(folder), store, notebook, hands=int(hands))
    print(done.manifest.digest())


if __name__ == "__main__":
    main(*sys.argv[1:])
