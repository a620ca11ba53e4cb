"""Sites of a house whose clock is wrong, or whose line to the store is cut."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta

from relay.clock import SYSTEM_CLOCK
from relay.errors import TransientError
from relay.ledger.copy import LocalCopy
from relay.ledger.ledger import Ledger
from relay.store.port import Store
from relay.transfer.desk import Desk
from relay.transfer.manifests import Manifests
from tests.unit.workers.house import House
from workers.hooks import Hooks, Teller
from workers.turn import Turn

Off = Callable[[], timedelta]


class WrongClock:
    """The machine's clock, off by what `off` says when it is asked. Its stopwatch is right."""

    def __init__(self, off: Off) -> None:
        self._off = off

    def now(self) -> datetime:
        return SYSTEM_CLOCK.now() + self._off()

    def ticks(self) -> float:
        return SYSTEM_CLOCK.ticks()

    def wait(self, seconds: float) -> None:
        SYSTEM_CLOCK.wait(seconds)


class CutLine:
    """A store that does not answer while the line is cut."""

    def __init__(self, inner: Store) -> None:
        self.name = inner.name
        self.is_cut = False
        self._inner = inner

    def __getattr__(self, name: str):
        asked = getattr(self._inner, name)

        def answered(*words, **named):
            if self.is_cut:
                raise TransientError(f"{self.name}: no answer; is this machine on the network?")
            return asked(*words, **named)

        return answered


@contextmanager
def desk_at(house: House, site: str, off: Off = timedelta, store: Store | None = None) -> Iterator[Desk]:
    """Open a site's desk with a clock that is off, over `store` where one is given."""
    home = house.home(site)
    with house.desk(site) as plain:
        place, clock = store or plain.store, WrongClock(off)
        ledger = Ledger(place, LocalCopy(home.ledger), clock, home.read().root)
        manifests = Manifests(place, home.manifests)
        yield replace(plain, store=place, ledger=ledger, manifests=manifests, clock=clock)


@contextmanager
def turn_at(house: House, site: str, off: Off = timedelta, store: Store | None = None) -> Iterator[Turn]:
    """Open what takes turns at such a desk."""
    with desk_at(house, site, off, store) as desk:
        yield Turn(desk, house.room(site), lambda: Teller(desk, Hooks(), house.home(site).folder / "told"))
