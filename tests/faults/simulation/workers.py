"""What a site's worker does, in small: it sweeps, claims, works, hands in, receives, and buries the dead.

A worker remembers nothing across its deaths but its site's copy of the ledger and what lies in its `to-send/` folder.
It works on a claim only when `append` told it that the claim is its own, and stops when the rules refuse its work.
"""

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from math import ceil
from pathlib import Path

from relay.errors import RefusedError, TransientError
from relay.ledger.entry import Entry
from relay.ledger.job_words import ClaimLapsed, JobClaimed, JobHandedIn, JobOpened
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.ledger.words import ReceiptSigned, VersionMade, Word
from relay.model import VersionName, digest_of, version_name
from tests.faults.simulation.bucket import Bucket, Line
from tests.faults.simulation.copies import FragileCopy, RememberedCopy, Shelf
from tests.faults.simulation.world import Process, SiteClock, World
from tests.unit.ledger.rig import ROOT_ID

LEASE = 25
"""Seconds."""

SWEEP = 40.0
"""Seconds between two looks at the ledger, if nobody rings."""


@dataclass
class Call:
    """One call of `append`: which entries it tried to write, and what it said at last."""

    by: str
    tried: list[str] = field(default_factory=list)
    """The digests of the entries."""
    said: str = "unknown"
    """`unknown`, `nothing`, or the digest of the entry that it says is in the ledger."""


@dataclass
class Site:
    """What outlasts its workers' deaths."""

    name: str
    pen: Pen
    home: Path
    to_send: list[str]
    wrong_by: int
    """Seconds by which its clock is wrong."""
    shelf: Shelf | None
    """Its copy of the ledger, or None where that lies in files at `home`."""


class House:
    """All sites of one production, around one bucket."""

    def __init__(self, world: World, bucket: Bucket, sites: list[Site], jobs: dict[str, str]) -> None:
        self.world = world
        self.bucket = bucket
        self.sites = sites
        self.jobs = jobs
        """What there is to do: job to reel."""
        self.calls: list[Call] = []
        self.ledgers: dict[str, Ledger] = {}
        self.sweep = SWEEP
        self.ledger_kind: type[Ledger] = Ledger
        self.line_kind: type[Line] = Line

    def receiver_of(self, version: VersionName) -> str:
        return self.sites[sum(version.encode()) % len(self.sites)].name


class Worker:
    """One life of one process of a site."""

    def __init__(self, house: House, site: Site, process: Process) -> None:
        self.house = house
        self.site = site
        self.world = house.world
        self.chance = random.Random(f"{house.world.seed} {process.name} {process.lives}")
        self.call = Call(process.name)
        self.line = house.line_kind(house.bucket, lambda digest: self.call.tried.append(digest))  # noqa: PLW0108  the call changes
        clock = SiteClock(self.world, site.wrong_by)
        copy = RememberedCopy(site.shelf, self.world) if site.shelf else FragileCopy(site.home, self.world)
        self.ledger = house.ledger_kind(self.line, copy, clock, ROOT_ID, self.chance)  # type: ignore[arg-type]
        house.ledgers[process.name] = self.ledger
        self.first_seen: dict[tuple[str, int], float] = {}
        """When, by the bucket's time, this worker first saw a claim."""

    def live(self) -> None:
        while True:
            with suppress(TransientError):
                self.round()
            self.world.nap(self.house.sweep * self.chance.uniform(0.8, 1.2))

    def round(self) -> None:
        state = self.ledger.follow()
        if self.site is self.house.sites[0]:
            self.open_jobs()
        self.send()
        self.receive(state)
        self.bury(state)
        for job in sorted(self.ledger.state.jobs):
            if is_free(self.ledger.state, job):
                self.turn(job)

    def say(self, decide: Callable[[State], list[Word] | None]) -> Entry | None:
        """Append, and write down what was tried and what came of it."""
        self.call = Call(self.call.by)
        self.house.calls.append(self.call)

        def deciding(state: State, _now: datetime) -> list[Word] | None:
            return decide(state)

        try:
            entry = self.ledger.append(self.site.pen, deciding)
        except RefusedError:
            self.call.said = "nothing"
            return None
        self.call.said = "nothing" if entry is None else entry.digest
        if entry is not None:
            self.world.ring()
        return entry

    def open_jobs(self) -> None:
        for job, reel in self.house.jobs.items():
            if job not in self.ledger.state.jobs:
                opened = JobOpened(job=job, stage="scan", reel=reel)
                self.say(lambda state, opened=opened: None if opened.job in state.jobs else [opened])  # type: ignore[misc]

    def send(self) -> None:
        """Send what lies in `to-send/`, looking first whether that was done."""
        for note in list(self.site.to_send):
            reel = f"B/R{len(note) % 3 + 1:02d}"
            self.say(
                lambda state, note=note, reel=reel: (  # type: ignore[misc]
                    None if is_said(state, note) else [made(state, reel, note)]
                )
            )
            if note in self.site.to_send:
                self.site.to_send.remove(note)

    def receive(self, state: State) -> None:
        me = self.site.name
        for version in list(state.versions.values()):
            if self.house.receiver_of(version.name) == me and not is_received(state, version.name, me):
                word = ReceiptSigned(version=version.name, manifest=version.manifest, whole=True)
                self.say(lambda state, word=word: None if is_received(state, word.version, me) else [word])  # type: ignore[misc]

    def bury(self, state: State) -> None:
        """Free each job whose holder gave no sign of life for longer than its lease."""
        for job in list(state.jobs.values()):
            if job.claim is None:
                continue
            key = (job.job, job.claim.epoch)
            first = self.first_seen.setdefault(key, self.world.now)
            last = self.line.last_sign(*key) or first
            silent = self.world.now - max(first, last)
            if silent > LEASE:
                word = ClaimLapsed(job=job.job, epoch=job.claim.epoch, silent=ceil(silent))
                self.say(lambda state, word=word: [word] if is_held(state, word) else None)  # type: ignore[misc]

    def turn(self, job: str) -> None:
        """Claim a free job, do it, hand it in."""
        claim = JobClaimed(job=job, lease=LEASE)
        entry = self.say(lambda state: [claim] if is_free(state, job) else None)
        if entry is None:
            return
        epoch = entry.sequence
        for _ in range(self.chance.randrange(1, 4)):
            self.world.pause(self.chance.uniform(1, 6))
            if self.chance.random() < 0.15:
                self.world.pause(self.chance.uniform(LEASE, 5 * LEASE))  # a machine that sleeps
            try:
                self.line.give_a_sign(job, epoch)
            except TransientError:
                continue
        note = f"{self.call.by} {job} {epoch}"
        self.hand_in(job, epoch, note)

    def hand_in(self, job: str, epoch: int, note: str) -> None:
        """Hand in, until it is known whether it counted. Whether the claim still holds is for the rules to say."""

        def decide(state: State) -> list[Word] | None:
            if is_said(state, note):
                return None
            version = made(state, self.house.jobs[job], note)
            return [version, JobHandedIn(job=job, epoch=epoch, version=version.version)]

        while True:
            try:
                self.say(decide)
                return
            except TransientError:
                self.world.pause(self.chance.uniform(1, 10))


def made(state: State, reel: str, note: str) -> VersionMade:
    name = version_name(reel, state.newest.get(reel, 0) + 1)  # type: ignore[arg-type, call-overload]
    return VersionMade(version=name, manifest=digest_of(note.encode()), files=3, size=7, note=note)


def is_said(state: State, note: str) -> bool:
    return any(version.note == note for version in state.versions.values())


def is_received(state: State, version: VersionName, site: str) -> bool:
    return any(receipt.site == site for receipt in state.versions[version].receipts)


def is_free(state: State, job: str) -> bool:
    return state.jobs[job].claim is None and state.jobs[job].outcome is None


def is_held(state: State, word: ClaimLapsed) -> bool:
    claim = state.jobs[word.job].claim
    return claim is not None and claim.epoch == word.epoch
