"""The port that wakes sites: somebody rings, and whoever hears it goes and looks into the ledger.

A bell that nobody hears, or that rings twice, costs a minute and never a job: the sweep finds what is owed. So ringing
never fails a command and never holds it up. Who carries the bell registers in the entry point group `relay.doorbell`;
where nobody does, or no broker is named, it is silent.
"""

import threading
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field
from importlib.metadata import entry_points
from typing import Protocol, Self

from relay.ledger import owed, route
from relay.ledger.entry import read_entry
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import SiteExpected
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.ledger.words import ObjectMended, ProductionRevised, ReceiptSigned, Word
from relay.model import VersionName

GROUP = "relay.doorbell"
RINGING = "ringing"
"""The name of the thread that rings, by which a command that ends sees whether it still does."""

RING_PATIENCE = 1.5
"""Seconds that a command waits for the broker to take what it is told."""


class Doorbell(Protocol):
    """Carries "go and look" to sites. Never raises for a broker that is away; may lose or double what it carries."""

    def ring(self, sites: Collection[str], stages: Collection[str], about: str) -> None:
        """Wake these sites, and for each of these stages one site that can do it, about a job or a version."""


class Silent:
    """The bell of a house without one."""

    def ring(self, sites: Collection[str], stages: Collection[str], about: str) -> None:
        """Do nothing: the sweep serves."""


class Hurried:
    """Rings, and goes on after `RING_PATIENCE` whatever the line does: only looking up a name may take minutes."""

    def __init__(self, bell: Callable[[], Doorbell]) -> None:
        self._bell = bell

    def ring(self, sites: Collection[str], stages: Collection[str], about: str) -> None:
        """Ring in a thread of its own, which dies with the command."""
        caller = threading.Thread(target=lambda: self._bell().ring(sites, stages, about), name=RINGING, daemon=True)
        caller.start()
        caller.join(RING_PATIENCE)


def find_doorbell(production: str, broker: str | None) -> Doorbell:
    """Return the bell that is installed, or a silent one. Opening it is part of ringing: importing takes time, too."""
    if broker is None:
        return Silent()
    carrier = next(iter(entry_points(group=GROUP)), None)
    return Silent() if carrier is None else Hurried(lambda: _opened(carrier.load, production, broker))


def _opened(load: Callable[[], Callable[[str, str], Doorbell]], production: str, broker: str) -> Doorbell:
    try:
        return load()(production, broker)
    except ImportError:  # the core is installed without the workers' libraries
        return Silent()


@dataclass
class Calls:
    """Whom to wake, and about what."""

    sites: set[str] = field(default_factory=set)
    stages: set[str] = field(default_factory=set)
    about: str = ""

    def add(self, about: str, sites: Iterable[str | None] = (), stages: Iterable[str] = ()) -> Self:
        """Wake these, too."""
        self.sites |= {site for site in sites if site}
        self.stages |= set(stages)
        self.about = about
        return self


def calls_of(state: State, words: Iterable[Word], calls: Calls | None = None) -> Calls:
    """Return who has something to do now that `words` were said. Pure: a function of the state after them."""
    calls = calls or Calls()
    for word in words:
        match word:
            case ReceiptSigned(whole=False):
                calls.add(word.version, _menders(state))
            case ObjectMended():
                calls.add(word.version, _refusers(state, word.version))
            case SiteExpected():
                calls.add(word.job, [word.to] if word.to and owed.to_receive(state, word.to) else [])
            case ProductionRevised():
                calls.add(word.production.name, (site.name for site in word.production.sites))
            case _:
                job = state.jobs.get(getattr(word, "job", ""))
                if job is not None:
                    _add_job(state, job, calls)
    return calls


def _add_job(state: State, job: Job, calls: Calls) -> None:
    if job.standing is Standing.OPEN and job.prefers is None and state.film().keeps_hours:
        calls.add(job.job, [state.film().coordinator])  # its worker plans whom to ask first
    match job.standing:
        case Standing.OPEN if stage_of(state, job).is_automatic:
            calls.add(job.job, [job.prefers], [job.stage])
        case Standing.OPEN:
            calls.add(job.job, [owed.first_asked(state, job)])
        case Standing.CLAIMED:
            calls.add(job.job, [job.claim.site if job.claim else None, job.offer.to if job.offer else None])
        case Standing.HANDED_IN:
            calls.add(job.outcome or job.job, [owed.receiver_of(state, job)])
        case Standing.ACCEPTED | Standing.WITHDRAWN:
            calls.add(job.job, stages=(stage.name for stage in route.followers(state.film(), job.stage)))
        case Standing.STOPPED:
            pass  # only a person can go on with it


def _menders(state: State) -> list[str]:
    return [state.film().coordinator, *(site.name for site in state.film().sites if site.mends)]


def _refusers(state: State, version: VersionName) -> list[str]:
    newest = {receipt.site: receipt.whole for receipt in state.versions[version].receipts}
    return [site for site, whole in newest.items() if not whole]


class Ringer:
    """Rings about what a site itself has said in the ledger, each entry once."""

    def __init__(self, bell: Doorbell, ledger: Ledger, site: str) -> None:
        self._bell = bell
        self._ledger = ledger
        self._site = site
        self._told = ledger.state.sequence

    def ring(self) -> None:
        """Ring about whatever `site` said since the last time."""
        calls = Calls()
        for sequence, raw in enumerate(self._ledger.entries()[self._told + 1 :], self._told + 1):
            body = read_entry(raw, sequence).body
            if body.by == self._site:
                calls_of(self._ledger.state, body.words, calls)
        self._told = self._ledger.state.sequence
        if calls.sites or calls.stages:
            self._bell.ring(calls.sites, calls.stages, calls.about)
