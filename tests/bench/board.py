"""How heavy and how quick the board's pages are with 500 reels and 20,000 entries: python -m tests.bench.board"""

import gzip
import sys
import tempfile
import time
from pathlib import Path

from relay.board.serve import Place, Running, app_at
from relay.clock import SYSTEM_CLOCK
from relay.ledger import work
from relay.ledger.copy import LocalCopy
from relay.ledger.ledger import Ledger
from relay.settings import Home, SiteFile
from relay.store.directory import DirectoryStore
from relay.store.keys import entry_key
from tests.unit.board.asking import Asker
from tests.unit.ledger.rig import ROOT_ID
from tests.unit.ledger.scene import COORDINATOR, Told, longer, pen, production

PAGES = ("/", "/reels", "/reels?q=B/R17", "/reels/A/R01", "/jobs", "/ledger", "/static/board.css", "/static/board.js")
REELS, ENTRIES, ROUNDS = 250, 20_000, 15  # reels of each of two elements


def main(place: Path) -> None:
    """Build, serve, measure, print."""
    began = time.monotonic()
    home, ledger = founded(place, REELS, ENTRIES)
    print(f"built {len(ledger.entries()):,} entries, {2 * REELS} reels in {time.monotonic() - began:.0f} s")
    began = time.monotonic()
    app = app_at(home, [], Place(), once="sesame")
    print(f"first start, reading all from the store: {time.monotonic() - began:.1f} s")
    began = time.monotonic()
    app = app_at(home, [], Place(), once="sesame")
    print(f"later start, from the home's copy: {time.monotonic() - began:.1f} s")
    with Running(app) as running, Asker(running.address) as asker:
        asker.comes_in("sesame")
        for path in PAGES:
            _page(asker, path)
        _update(asker, ledger)


def founded(place: Path, reels: int, entries: int) -> tuple[Home, Ledger]:
    """Lay out a store and the coordinator's home under `place`; the ledger is another copy's, to speak with."""
    told = longer(Told.founded(film=production(reels=reels)), entries)
    store, home = DirectoryStore.founded(place / "store"), Home(folder=place / "home")
    (place / "store" / "entries").mkdir()
    for slot, raw in enumerate(told.raws):
        (place / "store" / entry_key(slot)).write_bytes(raw)
    home.write(SiteFile(site=COORDINATOR, production="tide", root=ROOT_ID, store=str(place / "store")))
    pen(COORDINATOR).save(home.key)
    ledger = Ledger(store, LocalCopy(place / "writer"), SYSTEM_CLOCK, ROOT_ID)
    ledger.follow()
    return home, ledger


def _page(asker: Asker, path: str) -> None:
    times = []
    for _ in range(ROUNDS):
        began = time.monotonic()
        answer = asker.get(path)
        times.append(time.monotonic() - began)
    weight = len(gzip.compress(answer.content, 6))
    first, middle = times[0], sorted(times)[ROUNDS // 2]
    print(f"{path:22} {weight / 1000:6.1f} kB compressed, first {first * 1000:5.0f} ms, then {middle * 1000:4.0f} ms")


def _update(asker: Asker, ledger: Ledger) -> None:
    """Say something, and see how long it takes until an open page was told and has asked for itself anew."""
    work.open_due(ledger, pen(COORDINATOR))
    time.sleep(4)
    with asker.stream("GET", "/live") as events:
        lines = events.iter_lines()
        next(line for line in lines if line.startswith("data: "))
        began = time.monotonic()
        work.claim(ledger, pen(COORDINATOR), next(iter(ledger.state.jobs)))
        said = time.monotonic()
        next(line for line in lines if line.startswith("data: "))
        told = time.monotonic()
    asker.get("/")
    shown = time.monotonic()
    print(f"an entry: said in {said - began:.2f} s, told after {told - said:.2f}, page there {shown - told:.2f} later")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(place))
