"""One seed: a production among three sites, a storm, a calm, and what must hold afterwards."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from relay.errors import RelayError
from relay.ledger.copy import LocalCopy
from relay.ledger.history import History
from relay.ledger.ledger import Ledger
from relay.ledger.words import SiteInvited, SiteJoined
from relay.model import digest_of
from relay.store.keys import entry_key
from tests.faults.simulation.account import Account
from tests.faults.simulation.bucket import Bucket
from tests.faults.simulation.copies import Shelf
from tests.faults.simulation.workers import House, Site, Worker
from tests.faults.simulation.world import Process, World
from tests.unit.ledger.rig import ROOT_ID, FakeClock, OpenStore
from tests.unit.ledger.scene import COORDINATOR, Told, created, pen, production

SITES = (COORDINATOR, "lisbon", "halifax")
WORKERS = {COORDINATOR: 1, "lisbon": 2, "halifax": 1}
JOBS = {"scan/A/R01/1": "A/R01", "scan/A/R02/1": "A/R02", "scan/A/R03/1": "A/R03"}
STORM = 320.0
"""Seconds of bad weather; nothing fails after them."""
PATIENCE = 2000.0
"""Seconds after which what is not done never will be."""


class BrokenInvariantError(Exception):
    """What must hold did not."""


@dataclass
class Outcome:
    kills: int
    entries: int
    lapsed: int


@lru_cache(maxsize=1)
def founding() -> tuple[bytes, ...]:
    told = Told(ROOT_ID)
    told.say(pen("root"), created(production(tries=100)))  # jobs do not stop, however many workers die
    invited = [SiteInvited(site=site, invitation=pen(site, "invitation").public) for site in SITES[1:]]
    told.say(pen(COORDINATOR), *invited)
    for site in SITES[1:]:
        told.say(pen(site, "invitation"), SiteJoined(site=site, key=pen(site).public))
    return tuple(told.raws)


@contextmanager
def homes() -> Iterator[Path]:
    memory = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="relay-", dir=memory if memory.is_dir() else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


class Simulation:
    def __init__(self, seed: int, home: Path | None) -> None:
        """Sites keep their copies of the ledger under `home`, or in memory."""
        self.world = World(seed)
        self.account = Account()
        objects = {entry_key(slot): raw for slot, raw in enumerate(founding())}
        self.bucket = Bucket(self.world, objects, self.account.take)
        wrong = (0, 3600, -3600, 86400, -86400)
        sites = [
            Site(
                name=name,
                pen=pen(name),
                home=(home or Path()) / name,
                to_send=[f"{name} sends {number * 'x'}" for number in range(2)],
                wrong_by=self.world.chance.choice(wrong),
                shelf=None if home else Shelf(),
            )
            for name in SITES
        ]
        self.house = House(self.world, self.bucket, sites, JOBS)
        for site in sites:
            for number in range(WORKERS[site.name]):
                Process(
                    self.world,
                    f"{site.name} {number}",
                    lambda process, site=site: Worker(self.house, site, process).live(),
                )  # type: ignore[misc]

    def run(self) -> Outcome:
        try:
            self.world.run(lambda: False, STORM)
            self.world.stormy = False
            self.world.run(self.is_done, STORM + PATIENCE)
            if not self.is_done():
                raise BrokenInvariantError(f"not done after {self.world.now} s: {self.account.done}")
            self.world.run(lambda: False, self.world.now + 400)  # what is under way lands, and everybody looks again
        except RelayError as error:
            raise BrokenInvariantError(f"{type(error).__name__}: {error}") from error
        finally:
            self.world.end()
        self._check_account()
        self._check_answers()
        self._check_readers()
        return Outcome(self.world.kills, self.account.entries, self.account.lapsed)

    def is_done(self) -> bool:
        return (
            self.account.done.keys() == JOBS.keys()
            and not any(site.to_send for site in self.house.sites)
            and self._due() <= self.account.received.keys()
        )

    def _due(self) -> set[tuple[str, str]]:
        return {(self.house.receiver_of(version), version) for version in self.account.versions}

    def _check_account(self) -> None:
        """Of what lies in the bucket at the end, read from the top."""
        account = Account()
        for slot in range(len(self.entries())):
            account.take(self.entries()[slot])
        hold(not account.broken, "; ".join(account.broken))
        hold(all(account.done[job] == 1 for job in JOBS), f"jobs done: {account.done}")
        said = [note for note in account.sent if " sends " in note]
        hold(len(said) == 2 * len(SITES), f"sent: {account.sent}")
        doubled = [each for counted in (account.sent, account.received) for each, n in counted.items() if n > 1]
        hold(not doubled, f"said twice: {doubled}")

    def _check_answers(self) -> None:
        """Whatever `append` answered was so: it won, or nothing of what it tried is there."""
        landed = {digest_of(raw) for raw in self.entries()}
        for call in self.house.calls:
            theirs = landed.intersection(call.tried)
            expected = {"nothing": set(), "unknown": theirs}.get(call.said, {call.said})
            hold(theirs == expected, f"{call.by} was told {call.said}, and of its entries there are {theirs}")
            hold(len(theirs) <= 1, f"{call.by} wrote {len(theirs)} entries in one call")

    def _check_readers(self) -> None:
        seen = {name: ledger.state.projection() for name, ledger in self.house.ledgers.items()}
        fresh = self.fresh()
        hold(set(seen.values()) == {fresh.state.projection()}, f"readers differ: {sorted(seen)}")
        hold(fresh.entries() == self.entries(), "a new reader reads other bytes")
        hold(History(ROOT_ID).take_all(self.entries()).projection() == fresh.state.projection(), "folded otherwise")

    def entries(self) -> list[bytes]:
        return [raw for key, raw in sorted(self.bucket.objects.items()) if key.startswith("entries/")]

    def fresh(self) -> Ledger:
        store = OpenStore()
        store.objects.update(self.bucket.objects)
        with homes() as home:
            ledger = Ledger(store, LocalCopy(home), FakeClock(), ROOT_ID)
            ledger.follow()
            return ledger


def live(house: House, site: Site, process: Process) -> None:
    Worker(house, site, process).live()


def hold(fact: bool, otherwise: str) -> None:
    if not fact:
        raise BrokenInvariantError(otherwise)
