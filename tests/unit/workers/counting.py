"""A site's desk over a store that counts what it is asked."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from relay.clock import SYSTEM_CLOCK
from relay.ledger.copy import LocalCopy
from relay.ledger.ledger import Ledger
from relay.store.port import Store
from relay.transfer.manifests import Manifests
from tests.unit.workers.house import House
from workers.hooks import Hooks, Teller
from workers.room import Room
from workers.turn import Turn


class Counting:
    """Passes everything on. A list of up to a thousand keys is one request (ListObjectsV2, MaxKeys)."""

    def __init__(self, inner: Store) -> None:
        self.name = inner.name
        self.asked: Counter[str] = Counter()
        self._inner = inner

    def __getattr__(self, name: str):
        asked = getattr(self._inner, name)

        def counted(*words, **named):
            self.asked[name] += 1
            return asked(*words, **named)

        return counted


@contextmanager
def counted_turn(house: House, site: str, room: Room | None = None) -> Iterator[tuple[Turn, Counter[str]]]:
    home = house.home(site)
    with house.desk(site) as plain:
        store = Counting(plain.store)
        desk = replace(
            plain,
            store=store,
            ledger=Ledger(store, LocalCopy(home.ledger), SYSTEM_CLOCK, home.read().root),
            manifests=Manifests(store, home.manifests),
        )
        turn = Turn(desk, room or house.room(site), lambda: Teller(desk, Hooks(), home.folder / "told"))
        yield turn, store.asked
