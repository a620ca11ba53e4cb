"""How soon a worker is at it, how many jobs it does, and what it costs while it waits: `python -m tests.bench.workers`.

Over a folder and over Debian's redis-server, both on this machine. Asserts nothing.
"""

import os
import platform
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from relay.doorbell import calls_of
from relay.ledger import work
from relay.ledger.job_state import Standing
from relay.store.keys import entry_key
from tests.faults.workers_broker import Redis
from tests.faults.workers_crew import Account, Crew, Supervisor, all_accepted, told
from tests.unit.workers.counting import counted_turn
from tests.unit.workers.house import COORDINATOR, SCAN, House, film
from workers.ringing import CeleryDoorbell

WAKES = 200
JOBS = 100
IDLE = 90.0  # seconds
HOURS = 730
"""Of a month, as clouds count it."""
PRICES = {"list": 0.005, "create": 0.005, "beat": 0.005, "replace": 0.005}
"""US dollars a thousand requests that are a PUT or a LIST: aws.amazon.com/s3/pricing, Standard, us-east-1 (memory)."""
PRICE_OF_GET = 0.0004


@contextmanager
def scene(reels: int, broker: str | None, *, every: float = 3600, doers: int = 1, **stage: object) -> Iterator[Crew]:
    """One site, the coordinator's own, with its worker running."""
    with tempfile.TemporaryDirectory(prefix="relay-") as place:
        house = House(Path(place), film([{**SCAN, **stage}], {COORDINATOR: ["scan"]}, reels=reels))
        crew = Crew(house, [COORDINATOR], every, {COORDINATOR: broker} if broker else {}, doers)
        try:
            yield crew
        finally:
            crew.stop()


def wake_to_claim(broker: Redis) -> list[float]:
    """Return the seconds from ringing about a job that was just opened to its claim in the store, job by job."""
    took = []
    with scene(1, broker.address) as crew:
        crew.start_all()
        bell = CeleryDoorbell("tide", broker.address)
        supervisor = Supervisor(crew.house)
        wait(lambda: len(supervisor.state().jobs) == 1 and all_done(supervisor))
        desk = supervisor._desk
        for _ in range(WAKES):
            entry = work.ask(desk.ledger, desk.pen, "scan", "A/R001", (), (), None, "once more")
            calls = calls_of(desk.ledger.state, entry.body.words)
            claim = crew.house.root / "store" / entry_key(entry.sequence + 1)
            began = time.perf_counter()
            bell.ring(calls.sites, calls.stages, calls.about)
            while not claim.exists():
                time.sleep(0.0005)
            took.append(time.perf_counter() - began)
            wait(lambda: all_done(supervisor))
        supervisor.close()
    return took


def all_done(supervisor: Supervisor) -> bool:
    return all(job.standing in {Standing.HANDED_IN, Standing.ACCEPTED} for job in supervisor.state().jobs.values())


def wait(is_so) -> None:
    while not is_so():
        time.sleep(0.02)


def whole_lives(broker: Redis, doers: int, **stage: object) -> float:
    """Return how many jobs a second go from opened to accepted at one site."""
    with scene(JOBS, broker.address, doers=doers, **stage) as crew:
        supervisor = Supervisor(crew.house)
        crew.start_all()
        wait(lambda: any(job.claim or job.outcome for job in supervisor.state().jobs.values()))
        began = time.perf_counter()
        before = sum(job.outcome is not None for job in supervisor.state().jobs.values())
        wait(lambda: all_accepted(supervisor.accept_what_arrived(), JOBS))
        took = time.perf_counter() - began
        supervisor.close()
        account = Account(told(crew.house))
        assert account.faults == []
        assert set(account.handed_in.values()) == {1}
        return (JOBS - before) / took


def idle(broker: Redis | None, every: float = 60.0) -> tuple[float, float]:
    """Return the percentage of one core, and the resident megabytes, of a worker that has nothing to do."""
    with scene(1, broker.address if broker else None, every=every) as crew:
        crew.start_all()
        supervisor = Supervisor(crew.house)
        wait(lambda: len(supervisor.state().jobs) == 1 and all_accepted(supervisor.accept_what_arrived(), 1))
        supervisor.close()
        time.sleep(5)
        before, began = busy(crew), time.monotonic()
        time.sleep(IDLE)
        return 100 * (busy(crew) - before) / (time.monotonic() - began), memory(crew)


def family(crew: Crew) -> list[Path]:
    """Return the worker's process and everything it started, by what the kernel says (proc(5))."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(stat.parent.name)] = int(stat.read_text().rpartition(")")[2].split()[1])
        except FileNotFoundError:
            continue
    ours = {crew._running[COORDINATOR].pid}
    while more := {pid for pid, parent in parents.items() if parent in ours} - ours:
        ours |= more
    return [Path(f"/proc/{pid}") for pid in ours]


def busy(crew: Crew) -> float:
    fields = [(each / "stat").read_text().rpartition(")")[2].split() for each in family(crew)]
    return sum(int(field[11]) + int(field[12]) for field in fields) / 100


def memory(crew: Crew) -> float:
    return sum(int((each / "statm").read_text().split()[1]) for each in family(crew)) * 4096 / 1e6


def requests_an_hour(every: float = 60.0) -> Counter[str]:
    """Return what the store is asked in an hour by a site that has nothing to do."""
    sweeps = int(3600 / every)
    with tempfile.TemporaryDirectory(prefix="relay-") as place:
        house = House(Path(place), film([{"name": "scan"}], {COORDINATOR: [], "lisbon": ["scan"]}, reels=50))
        with house.desk(COORDINATOR) as desk:
            work.open_due(desk.ledger, desk.pen)
        with counted_turn(house, "lisbon") as (turn, asked):
            turn.look()
            asked.clear()
            for _ in range(sweeps):
                turn.look()
                turn.wanted()
            return Counter(asked)


def requests_a_job() -> tuple[Counter[str], int]:
    """Return what the store is asked for one job's whole life at one site that does nothing else, and its entries."""
    from workers.turn import Lane

    with tempfile.TemporaryDirectory(prefix="relay-") as place:
        house = House(Path(place), film([SCAN], {COORDINATOR: ["scan"]}, reels=20))
        with counted_turn(house, COORDINATOR) as (turn, asked):
            turn.look()
            entries = turn.desk.ledger.state.sequence
            asked.clear()
            turn.run(Lane.DO)
            turn.run(Lane.RECEIVE)
            return Counter({name: count // 20 for name, count in asked.items()}), (
                turn.desk.ledger.state.sequence - entries
            ) // 20


def dollars(asked: Counter[str]) -> float:
    """Return what these requests cost."""
    return sum(count * PRICES.get(name, PRICE_OF_GET) for name, count in asked.items()) / 1000


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main() -> None:
    say(f"{datetime.now(UTC):%Y-%m-%d %H:%M}, {platform.platform()}, {os.cpu_count()} cores")
    say(f"load {os.getloadavg()[0]:.1f}")
    broker = Redis()
    try:
        took = sorted(wake_to_claim(broker))
        say(
            f"wake to claim, {WAKES} times: p50 {1000 * statistics.median(took):.0f} ms, "
            f"p99 {1000 * took[int(len(took) * 0.99)]:.0f} ms"
        )
        for doers in (1, 2, 4):
            say(f"whole lives of {JOBS} jobs at one site, {doers} at once: {whole_lives(broker, doers):.1f} a second")
        nothing = ["sh", "-c", 'cp /proc/self/stat "$0"/made', "{output}"]
        say(f"the same, 2 at once, with a program of a few ms: {whole_lives(broker, 2, command=nothing):.1f} a second")
        for name, bell in (("with a broker", broker), ("by sweep alone", None)):
            percent, megabytes = idle(bell)
            say(f"idle worker {name}: {percent:.2f} % of a core, {megabytes:.0f} MB")
        asked = requests_an_hour()
        say(
            f"idle worker, requests an hour: {sum(asked.values())} {dict(asked)}; "
            f"{HOURS * dollars(asked):.2f} dollars a month"
        )
        asked, entries = requests_a_job()
        say(
            f"one job's life, requests: {sum(asked.values())} {dict(asked)}, entries {entries}; "
            f"{1000 * dollars(asked):.2f} dollars a thousand jobs"
        )
    finally:
        broker.stop()


if __name__ == "__main__":
    main()
