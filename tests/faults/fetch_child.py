"""A fetch in a process of its own, that can be killed: `fetch_child MANIFEST TARGET NOTES LOG HANDS STORE...`.

STORE is what `send_child` takes. Every read of an object is written to LOG, before it is begun and after its answer.
It prints what became of it as one line of JSON.
"""

import json
import os
import sys
import threading
from pathlib import Path

from relay.errors import RelayError
from relay.media.manifest import parse_manifest
from relay.store.port import Store
from relay.transfer.fetch import fetch
from relay.transfer.notebook import Notebook
from tests.faults.send_child import store_of


class Logged:
    """A store whose reads leave a line each."""

    def __init__(self, inner: Store, log: Path) -> None:
        self.name = inner.name
        self._inner = inner
        self._log = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def note(self, what: str, key: str) -> None:
        os.write(self._log, f"{what} {threading.get_ident()} {key}\n".encode())

    def read_into(self, key: str, buffer: memoryview) -> int:
        self.note("begun", key)
        size = self._inner.read_into(key, buffer)
        self.note("answered", key)
        return size

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)


def main(manifest: str, target: str, notes: str, log: str, hands: str, *where: str) -> None:
    store = Logged(store_of(*where), Path(log))
    try:
        with Notebook(Path(notes)) as notebook:
            store.note("ready", "-")
            wanted = parse_manifest(Path(manifest).read_bytes())
            fetched = fetch(wanted, store, Path(target), notebook, hands=int(hands))
    except RelayError as error:
        print(json.dumps({"error": type(error).__name__, "says": str(error)}))
        raise SystemExit(error.exit_code) from error
    print(json.dumps({"whole": fetched.whole, "objects": fetched.fetched_objects, "kept": fetched.kept_bytes}))


if __name__ == "__main__":
    main(*sys.argv[1:])
