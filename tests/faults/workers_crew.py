"""Workers of many sites as processes, the person who accepts what they hand in, and an account of what was said."""

import json
import os
import signal
import sys
import threading
from collections import Counter, defaultdict
from pathlib import Path

from relay.errors import LostRaceError
from relay.ledger import work
from relay.ledger.entry import Entry
from relay.ledger.job_state import Standing
from relay.ledger.route import has_arrived
from relay.ledger.state import State
from relay.settings import Home
from relay.transfer.desk import Desk
from relay.wiring import open_ledger, open_store
from tests.servers.process import Process
from tests.unit.workers.house import COORDINATOR, House

SWEEPING = "sweeping"


class Crew:
    """One worker process for each of some sites of a house."""

    def __init__(
        self, house: House, sites: list[str], every: float, brokers: dict[str, str] | None = None, doers: int = 1
    ) -> None:
        self.house = house
        self.sites = sites
        self.every = every
        self.brokers = brokers or {}
        self._doers = doers
        self._running: dict[str, Process] = {}

    def start(self, site: str) -> None:
        words = [self.house.home(site).folder, self.house.root / site, str(self.every), str(self._doers)]
        if site in self.brokers:
            words.append(self.brokers[site])
        command = [sys.executable, "-m", "tests.faults.workers_child", *words]
        self._running[site] = Process(command, self.log(site))

    def start_all(self) -> None:
        for site in self.sites:
            self.start(site)

    def log(self, site: str) -> Path:
        return self.house.root / site / "worker.log"

    def kill9(self, site: str) -> None:
        """Kill the worker alone, as the kernel would when memory runs out: what it started must end by itself."""
        os.kill(self._running[site].pid, signal.SIGKILL)
        self._running[site]._child.wait(30)

    def terminate(self, site: str) -> int:
        """Ask the worker to stop, and return its exit code."""
        os.kill(self._running[site].pid, signal.SIGTERM)
        return self._running[site]._child.wait(60)

    def is_running(self, site: str) -> bool:
        return self._running[site].is_running()

    def stop(self) -> None:
        for process in self._running.values():
            process.kill9()

    def sweeps(self) -> dict[str, int]:
        """Return how often each site has swept so far."""
        return {site: self.log(site).read_text(errors="replace").count(SWEEPING) for site in self.sites}

    def last_words(self) -> str:
        return "\n".join(f"--- {site}\n{self.log(site).read_text(errors='replace')[-3000:]}" for site in self.sites)


class Supervisor:
    """Accepts what arrived whole. Sits at the coordinator's home, beside its worker."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._opened = house.desk(COORDINATOR)
        self._desk = self._opened.__enter__()

    def close(self) -> None:
        self._opened.__exit__(None, None, None)

    def state(self) -> State:
        return self._desk.ledger.follow()

    def accept_what_arrived(self) -> State:
        """Accept every outcome that somebody received whole; returns what is true then."""
        for job in list(self.state().jobs.values()):
            if job.standing is Standing.HANDED_IN and has_arrived(self._desk.ledger.state, job.outcome):
                work.accept(self._desk.ledger, self._desk.pen, job.job)
        return self._desk.ledger.state


def handed_in(state: State) -> int:
    return sum(job.standing in {Standing.HANDED_IN, Standing.ACCEPTED} for job in state.jobs.values())


def all_accepted(state: State, count: int) -> bool:
    return len(state.jobs) == count and all(job.standing is Standing.ACCEPTED for job in state.jobs.values())


class Account:
    """What the entries say happened to each job, counted from their bytes with none of the rules under test."""

    def __init__(self, raws: list[bytes]) -> None:
        self.claims: Counter[str] = Counter()
        self.handed_in: Counter[str] = Counter()
        self.accepted: Counter[str] = Counter()
        self.late: Counter[str] = Counter()
        self.lapsed: Counter[str] = Counter()
        self.failed: Counter[str] = Counter()
        self.faults: list[str] = []
        self._held: dict[str, int] = {}
        self.versions: dict[str, list[str]] = defaultdict(list)
        for raw in raws:
            body = json.loads(raw.split(b"\n")[0])
            for word in body["words"]:
                self._take(body["sequence"], body["by"], word)

    def _take(self, entry: int, by: str, word: dict) -> None:
        job = word.get("job", "")
        match word["word"]:
            case "job-claimed":
                self.claims[job] += 1
                if job in self._held:
                    self.faults.append(
                        f"entry {entry}: {job} is claimed by {by} while the claim of {self._held[job]} lasts"
                    )
                self._held[job] = entry
            case "job-handed-in":
                self.handed_in[job] += 1
                self._end(entry, job, word["epoch"])
            case "claim-lapsed":
                self.lapsed[job] += 1
                self._end(entry, job, word["epoch"])
            case "try-failed":
                self.failed[job] += 1
                self._end(entry, job, word["epoch"])
            case "claim-released" | "claim-reassigned":
                self._end(entry, job, word["epoch"])
            case "work-came-late":
                self.late[job] += 1
            case "job-accepted":
                self.accepted[job] += 1

    def _end(self, entry: int, job: str, epoch: int) -> None:
        if self._held.pop(job, None) != epoch:
            self.faults.append(
                f"entry {entry}: a word about the claim of {epoch} on {job}, which was not the present one"
            )


def told(house: House) -> list[bytes]:
    """Return the exact bytes of every entry in the store."""
    store = open_store(house.store)
    return [store.read(line.key) for line in store.list("entries/")]


def projection_from_the_bucket_alone(house: House, place: Path) -> bytes:
    """Return the state as a reader sees it who has nothing but the bucket and the root key."""
    ledger = open_ledger(Home(folder=place), open_store(house.store), house.home(COORDINATOR).read().root)
    return ledger.follow().projection()


def claim_all(desk: Desk, jobs: list[str], start: threading.Barrier) -> list[Entry | str]:
    """Claim every job, each at the same moment as other sites; return the entries, and what was told instead."""
    came: list[Entry | str] = []
    for job in jobs:
        start.wait(600)
        try:
            came.append(work.claim(desk.ledger, desk.pen, job))
        except LostRaceError as error:
            came.append(str(error))
    return came
