"""A send in a process of its own that says how much memory it took at most: `send_memory FOLDER NOTES STORE...`.

STORE is `nowhere`, which keeps nothing, or what `send_child` takes.
"""

import resource
import sys
from pathlib import Path

from relay.transfer.deposit import deposit
from relay.transfer.notebook import Notebook
from tests.faults.send_child import store_of


class Nowhere:
    """Believes the digest it is told, and keeps sizes only."""

    name = "nowhere"

    def __init__(self) -> None:
        self._sizes: dict[str, int] = {}

    def create(self, key: str, body: memoryview, digest: str) -> bool:
        self._sizes[key] = len(body)
        return True

    def size(self, key: str) -> int | None:
        return self._sizes.get(key)


def most_memory() -> int:
    """Return the most bytes of memory that this process had at once."""
    status = Path("/proc/self/status")
    if status.exists():
        # Not getrusage: on Linux that remembers the process that started this one.
        (line,) = (line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # bytes on macOS


def main(folder: str, notes: str, *where: str) -> None:
    store = Nowhere() if where == ("nowhere",) else store_of(*where)
    with Notebook(Path(notes)) as notebook:
        done = deposit(Path(folder), store, notebook)
    print(len(done.manifest.files), done.sent_bytes, most_memory())


if __name__ == "__main__":
    main(*sys.argv[1:])
