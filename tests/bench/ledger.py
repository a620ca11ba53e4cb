"""How long a ledger of 20,000 entries takes to join, to open again, and to append to.

    python -m tests.bench.ledger [--entries 20000] [--rounds 5] [--reels 2000] [--store FOLDER]

Prints medians, as seconds of this process's CPU and of the wall clock. Nothing here asserts a time.
"""

import argparse
import random
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from relay.clock import SYSTEM_CLOCK
from relay.ledger.copy import LocalCopy
from relay.ledger.history import History
from relay.ledger.job_words import JobClaimed, JobHandedIn, JobOpened
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.reading import BUNDLE, read_from
from relay.ledger.words import ReceiptSigned, Word
from relay.model import digest_of
from relay.store.directory import DirectoryStore
from relay.store.keys import bundle_key, entry_key
from relay.store.port import Store
from tests.unit.ledger.rig import ROOT_ID
from tests.unit.ledger.scene import SITES, Told, pen, production, version


def told(entries: int, reels: int) -> list[bytes]:
    """Return the bytes of a ledger of `entries`: every reel is scanned as a job, sent again, and received."""
    elements = "ABCDEFGHIJ"
    ledger = Told.founded(film=production(reels=max(1, reels // len(elements)), elements=elements))
    chance = random.Random(1)
    doing: list[tuple[Pen, str, int]] = []
    waiting = list(ledger.state.film().reel_names())
    while len(ledger.raws) < entries:
        by, die = pen(chance.choice(SITES)), chance.random()
        if waiting and die < 0.15:
            reel = waiting.pop()
            job = f"scan/{reel}/1"
            claimed = tell(ledger, by, JobOpened(job=job, stage="scan", reel=reel), JobClaimed(job=job, lease=600))
            doing.append((by, reel, claimed))
        elif doing and die < 0.3:
            by, reel, epoch = doing.pop(0)
            made = version(reel, ledger.state.newest.get(reel, 0) + 1, note="as a job")  # type: ignore[call-overload]
            tell(ledger, by, made, JobHandedIn(job=f"scan/{reel}/1", epoch=epoch, version=made.version))
        elif ledger.state.versions and die < 0.6:
            name = chance.choice(list(ledger.state.newest))
            newest = ledger.state.version(name)
            tell(ledger, by, ReceiptSigned(version=newest.name, manifest=newest.manifest, whole=True))
        else:
            reel = chance.choice(ledger.state.film().reel_names())
            tell(ledger, by, version(reel, ledger.state.newest.get(reel, 0) + 1, note="sent again"))
    return ledger.raws


def tell(ledger: Told, by: Pen, *words: Word) -> int:
    raw = ledger.written(by, *words)
    ledger.raws.append(raw)
    return ledger.history.take(raw, checked_before=True).sequence


def laid_down(raws: list[bytes], folder: Path) -> None:
    """Put entries and bundles where DirectoryStore keeps them; syncing each would take longer than all the rest."""
    bundles = {
        bundle_key(first, BUNDLE): b"".join(raws[first : first + BUNDLE])
        for first in range(0, len(raws) - BUNDLE + 1, BUNDLE)
    }
    for key, body in ({entry_key(slot): raw for slot, raw in enumerate(raws)} | bundles).items():
        path = folder / key
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(body)


def measured(name: str, rounds: int, what: Callable[[], object], unit: float = 1.0) -> None:
    cpu, wall = [], []
    for _ in range(rounds):
        before = time.process_time(), time.perf_counter()
        what()
        cpu.append((time.process_time() - before[0]) / unit)
        wall.append((time.perf_counter() - before[1]) / unit)
    print(f"{name:44} CPU {statistics.median(cpu):9.4f} s   wall {statistics.median(wall):9.4f} s   ({rounds} rounds)")


def opened(store: Store, home: Path) -> Ledger:
    return Ledger(store, LocalCopy(home), SYSTEM_CLOCK, ROOT_ID)


def joined(store: Store, home: Path) -> Ledger:
    shutil.rmtree(home, ignore_errors=True)
    ledger = opened(store, home)
    ledger.follow()
    return ledger


def appended(ledger: Ledger, count: int) -> None:
    for _ in range(count):
        number = ledger.state.newest.get("A/R01", 0) + 1  # type: ignore[call-overload]
        ledger.append(pen("lisbon"), lambda _state, _now, number=number: [version("A/R01", number)])  # type: ignore[misc]


def bench(entries: int, reels: int, rounds: int, folder: Path) -> None:
    raws = told(entries, reels)
    size = sum(map(len, raws))
    print(f"{entries} entries, {size} bytes, {reels} reels, SHA-256 of the last {digest_of(raws[-1])[:16]}")
    laid_down(raws, folder / "store")
    store, home = DirectoryStore(folder / "store"), folder / "home"
    joined(store, home)

    measured("cold: download from bundles", rounds, lambda: read_from(store, 0))
    measured("cold: verify and fold", rounds, lambda: History(ROOT_ID).take_all(raws))
    measured("cold: all of it, with the copy kept", rounds, lambda: joined(store, folder / "another home"))
    measured("warm: open the copy", rounds, lambda: opened(store, home))
    ledger = opened(store, home)
    measured("warm: follow when nothing is new", rounds * 4, ledger.follow)
    measured("append, each", rounds, lambda: appended(ledger, 20), unit=20)
    measured("projection", rounds, ledger.state.projection)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--entries", type=int, default=20_000)
    parser.add_argument("--reels", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--store", type=Path, help="a folder to work in; one in the temporary folder otherwise")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="relay-", dir=args.store) as folder:
        bench(args.entries, args.reels, args.rounds, Path(folder))


if __name__ == "__main__":
    main()
