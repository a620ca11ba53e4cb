"""Workers killed, their broker restarted, lines gone dead, messages lost, doubled and shuffled: every job is done once.

What happened is counted from the bytes of the entries, with none of the rules that the workers go by.
"""

import os
import random
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.conftest import missing
from tests.faults.workers_broker import DeadLines, Meddler, Redis
from tests.faults.workers_crew import (
    Account,
    Crew,
    Supervisor,
    all_accepted,
    handed_in,
    projection_from_the_bucket_alone,
    told,
)
from tests.servers.s3 import S3Server, ServerMissingError
from tests.unit.workers.house import CHECK, COORDINATOR, SCAN, House, film

LEASE = 6  # seconds
PATIENCE = 3600  # seconds until a test says that it will never be done


@dataclass
class Plan:
    """How much of everything."""

    reels: int
    sites: int
    every: float
    kills: int = 0
    restarts: int = 0
    dead_lines: int = 0
    meddlings: int = 0
    lost_data: int = 0
    seed: int = 1


SMALL = Plan(reels=5, sites=3, every=12, kills=3, restarts=1, dead_lines=1, meddlings=8, lost_data=1)
LARGE = Plan(reels=250, sites=6, every=30, kills=100, restarts=20, dead_lines=10, meddlings=200, lost_data=2)


def house_of(root: Path, plan: Plan, store: str | None = None) -> tuple[House, list[str]]:
    """Found a production whose every site can do both stages; the coordinator only receives."""
    names = [f"site-{number}" for number in range(1, plan.sites)]
    does = {COORDINATOR: [], **{name: ["scan", "check"] for name in names}}
    stages = [{**stage, "lease": LEASE} for stage in (SCAN, CHECK)]
    return House(root, film(stages, does, reels=plan.reels), store), [COORDINATOR, *names]


@dataclass
class Storm:
    """What is still to be done to a crew, spread over its work."""

    crew: Crew
    broker: Redis
    lines: DeadLines
    meddler: Meddler
    dice: random.Random
    waiting: list[str] = field(default_factory=list)
    down: dict[str, float] = field(default_factory=dict)
    """Workers that were killed, and when they come back."""
    did: dict[str, int] = field(default_factory=dict)

    def plan(self, plan: Plan) -> None:
        self.waiting = ["kill"] * plan.kills + ["restart"] * plan.restarts + ["meddle"] * plan.meddlings
        self.waiting += ["lose"] * plan.lost_data
        self.dice.shuffle(self.waiting)
        # A line that goes dead keeps a worker deaf for 20 s: what comes last should be over before the last job.
        places = [self.dice.randrange(1 + len(self.waiting) * 2 // 3) for _ in range(plan.dead_lines)]
        for place in places:
            self.waiting.insert(place, "freeze")

    def blow(self, progress: float, total: int) -> None:
        """Do what is due when this much of the work is done, from 0 to 1; let workers that were killed come back."""
        while self.waiting and len(self.waiting) > (1 - progress) * total:
            self._do(self.waiting.pop(0))
        for site, back in list(self.down.items()):
            if time.monotonic() >= back:
                del self.down[site]
                self.crew.start(site)

    def calm(self) -> None:
        for site in list(self.down):
            del self.down[site]
            self.crew.start(site)

    def _do(self, what: str) -> None:
        self.did[what] = self.did.get(what, 0) + 1
        match what:
            case "kill":
                up = [site for site in self.crew.sites if site not in self.down]
                if up:
                    site = self.dice.choice(up)
                    self.crew.kill9(site)
                    # One in five stays away for longer than its claims last.
                    self.down[site] = time.monotonic() + self.dice.choice([0, 0.2, 0.5, 1, LEASE + 3])
            case "restart":
                self.broker.restart()
            case "lose":
                self.broker.lose_everything()
            case "freeze":
                self.lines.freeze()
            case "meddle":
                self.meddler.meddle()


WHEEL = "the wheel's server"
BROKERS = ["redis-server", pytest.param(WHEEL, marks=pytest.mark.soak)] if shutil.which("redis-server") else [WHEEL]
"""One storm a run is enough: that the wheel's server serves as well is held elsewhere, and in the soak."""


@pytest.fixture(params=BROKERS)
def broker(request: pytest.FixtureRequest) -> Iterator[Redis]:
    try:
        server = Redis(request.param)
    except ServerMissingError as error:
        missing(str(error))
        raise
    yield server
    server.stop()


def until(crew: Crew, is_so: Callable[[], bool], meanwhile: Callable[[], object] = lambda: None) -> None:
    give_up = time.monotonic() + PATIENCE
    while not is_so():
        meanwhile()
        if time.monotonic() > give_up:
            raise AssertionError(f"it is never done:\n{crew.last_words()}")
        time.sleep(0.2)


def weather(house: House, sites: list[str], plan: Plan, broker: Redis) -> dict[str, int]:
    """Let a crew work through a storm; return how often each site swept after it had passed."""
    lines = DeadLines(broker.port)
    crew = Crew(house, sites, plan.every, dict.fromkeys(sites, lines.address))
    storm = Storm(crew, broker, lines, Meddler(broker, plan.seed), random.Random(plan.seed))
    storm.plan(plan)
    total, count = len(storm.waiting), 2 * plan.reels
    supervisor = Supervisor(house)
    try:
        crew.start_all()

        def go_on() -> bool:
            done = handed_in(supervisor.accept_what_arrived())
            storm.blow(done / count / 0.9, total)  # all of it while a tenth of the work is left
            return not storm.waiting

        until(crew, go_on)
        storm.calm()
        passed = crew.sweeps()
        until(crew, lambda: all_accepted(supervisor.accept_what_arrived(), count))
        after = crew.sweeps()
    finally:
        crew.stop()
        supervisor.close()
        lines.stop()
    report(plan, storm, house, {site: after[site] - passed[site] for site in sites})
    return {site: after[site] - passed[site] for site in sites}


def report(plan: Plan, storm: Storm, house: House, sweeps: dict[str, int]) -> None:
    account = Account(told(house))
    print(
        f"\n{2 * plan.reels} jobs, {plan.sites} workers; did {storm.did}, to messages {storm.meddler.did}; "
        f"claims {account.claims.total()}, lapsed {account.lapsed.total()}, late {account.late.total()}; "
        f"sweeps after the last fault {sweeps}"
    )


def check_done_once(house: House, plan: Plan) -> None:
    account = Account(told(house))
    jobs = {f"{stage}/A/R{reel:03d}/1" for reel in range(1, plan.reels + 1) for stage in ("scan", "check")}
    assert account.faults == []
    assert account.handed_in == dict.fromkeys(jobs, 1)
    assert account.accepted == dict.fromkeys(jobs, 1)
    assert account.failed.total() == 0


def check_the_bucket_knows_everything(house: House, sites: list[str], broker: Redis | None) -> None:
    """Nothing but the bucket is needed: Redis and every site's memory may go, and the state is the same to the byte."""
    states = {site: house.state(site).projection() for site in sites}
    assert len(set(states.values())) == 1
    if broker is not None:
        broker.lose_everything()
    for site in sites:
        shutil.rmtree(house.home(site).ledger)
        shutil.rmtree(house.home(site).manifests, ignore_errors=True)
        house.home(site).notebook.unlink(missing_ok=True)
        house.home(site).arrivals.unlink(missing_ok=True)
    assert projection_from_the_bucket_alone(house, house.root / "stranger") == states[COORDINATOR]
    assert house.state(sites[-1]).projection() == states[COORDINATOR]


def test_every_job_is_done_once_in_a_storm(tmp_path, broker):
    house, sites = house_of(tmp_path, SMALL)
    sweeps = weather(house, sites, SMALL, broker)
    check_done_once(house, SMALL)
    assert max(sweeps.values()) <= 2
    check_the_bucket_knows_everything(house, sites, broker)


@pytest.mark.soak
@pytest.mark.parametrize("seed", [1, 2])
def test_five_hundred_jobs_are_done_once_in_a_great_storm(tmp_path, broker, seed):
    plan = Plan(**{**LARGE.__dict__, "seed": seed})
    house, sites = house_of(tmp_path, plan)
    sweeps = weather(house, sites, plan, broker)
    check_done_once(house, plan)
    assert max(sweeps.values()) <= 2
    check_the_bucket_knows_everything(house, sites, broker)


@pytest.mark.parametrize("reels", [4, pytest.param(100, marks=pytest.mark.soak)])
def test_with_no_broker_at_all_everything_is_done_by_sweep(tmp_path, reels):
    plan = Plan(reels=reels, sites=3, every=1)
    house, sites = house_of(tmp_path, plan)
    crew, supervisor = Crew(house, sites, plan.every), Supervisor(house)
    try:
        crew.start_all()
        until(crew, lambda: all_accepted(supervisor.accept_what_arrived(), 2 * reels))
    finally:
        crew.stop()
        supervisor.close()
    check_done_once(house, plan)
    check_the_bucket_knows_everything(house, sites, None)


@pytest.mark.seaweedfs
@pytest.mark.parametrize("reels", [2, pytest.param(60, marks=pytest.mark.soak)])
def test_every_job_is_done_once_in_a_storm_over_a_real_bucket(tmp_path, seaweedfs: S3Server, monkeypatch, reels):
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", seaweedfs.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", seaweedfs.secret_key)
    store = f"s3://{seaweedfs.bucket()}/tide?endpoint={seaweedfs.endpoint}"
    broker = Redis()
    plan = Plan(reels=reels, sites=3, every=12, kills=max(2, reels // 3), restarts=1, meddlings=4)
    try:
        house, sites = house_of(tmp_path, plan, store)
        weather(house, sites, plan, broker)
        check_done_once(house, plan)
        check_the_bucket_knows_everything(house, sites, broker)
    finally:
        broker.stop()
    assert "AWS_SECRET_ACCESS_KEY" in os.environ
