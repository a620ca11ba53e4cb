"""A process in which many threads append to one ledger at once: `python -m tests.faults.ledger.writers`.

Takes a JSON object on its standard input and answers with one on its standard output: the digest of every entry that
`append` said was written, by its note.
"""

import json
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from relay.clock import SYSTEM_CLOCK
from relay.errors import TransientError
from relay.ledger.copy import LocalCopy
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.store.directory import DirectoryStore
from relay.store.port import Store
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from tests.unit.ledger.rig import ROOT_ID
from tests.unit.ledger.scene import SITES, pen, version


@dataclass(frozen=True)
class Place:
    """Where the ledger is: a bucket of a server, or a folder."""

    folder: str = ""
    endpoint: str = ""
    bucket: str = ""
    access_key: str = ""
    secret_key: str = ""

    def open(self) -> Store:
        if self.folder:
            return DirectoryStore.founded(Path(self.folder))
        keys = Keys(self.access_key, self.secret_key)
        return S3Store(self.bucket, "tide", endpoint=self.endpoint, keys=keys)


@dataclass(frozen=True)
class Task:
    place: dict[str, str]
    homes: str
    """A folder with one home for each site; its writers share it, also those of other processes."""
    writers: list[int]
    entries: int
    """How many each writer appends."""


class Writer:
    def __init__(self, task: Task, number: int) -> None:
        self.number = number
        self.entries = task.entries
        site = SITES[number % len(SITES)]
        self.pen = pen(site)
        place = Place(**task.place)
        self.ledger = Ledger(place.open(), LocalCopy(Path(task.homes) / site), SYSTEM_CLOCK, ROOT_ID)

    def write(self) -> dict[str, str]:
        return {note: self._say(note) for note in (f"{self.number} {each}" for each in range(self.entries))}

    def _say(self, note: str) -> str:
        reel = f"A/R{self.number % 3 + 1:02d}"

        def decide(state: State, _now: datetime) -> list[Word] | None:
            if any(made.note == note for made in state.of_reel(reel)):  # type: ignore[arg-type]
                return None
            return [version(reel, state.newest.get(reel, 0) + 1, note=note)]  # type: ignore[call-overload]

        while True:
            try:
                entry = self.ledger.append(self.pen, decide)
            except TransientError:
                continue
            return entry.digest if entry else ""


def main() -> None:
    task = Task(**json.load(sys.stdin))
    writers = [Writer(task, number) for number in task.writers]
    said: dict[str, str] = {}
    with ThreadPoolExecutor(len(writers)) as threads:
        for each in threads.map(Writer.write, writers):
            said |= each
    json.dump(said, sys.stdout)


def told_to(task: Task) -> bytes:
    return json.dumps(asdict(task)).encode()


if __name__ == "__main__":
    main()
