"""Fifty who look and ten who act on one board: python -m tests.bench.board_load [MINUTES]

The board runs in a process of its own over a store in a folder. Whoever looks keeps a line open, asks for the page
anew after each change as the page's script does, and turns to another page now and then; whoever acts claims a job and
gives it back. Told are how long pages took, as their readers saw it, and how much processor time and memory the
board had.
"""

import asyncio
import json
import os
import random
import re
import secrets
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import quantiles

import httpx

from relay.board.people import People
from relay.clock import SYSTEM_CLOCK
from relay.ledger import work
from relay.settings import Home
from tests.bench.board import founded
from tests.unit.ledger.scene import COORDINATOR, pen

REELS, ENTRIES = 50, 2_000  # reels of each of two elements
VIEWERS, ACTORS = 50, 10
PAGES = ("/", "/reels", "/jobs", "/sites", "/ledger", "/forecast", "/reels/A/R01", "/reels/B/R07")
TURNS_A_PAGE, ACTS = (10.0, 30.0), (30.0, 60.0)  # seconds between two, from and to
PASSWORD = "seven lamps over quillmark"
ROOT = Path(__file__).parents[2]


def peopled(place: Path) -> Home:
    """Return the coordinator's home, with open jobs and everybody who may sign in."""
    home, ledger = founded(place, REELS, ENTRIES)
    work.open_due(ledger, pen(COORDINATOR))
    people = People(home.folder / "board")
    for number in range(VIEWERS + ACTORS):
        people.add(f"person {number}", "coordinator", COORDINATOR, PASSWORD, SYSTEM_CLOCK.now())
    return home


class Crowd:
    """Everybody, until `end` on the stopwatch; each has signed in before it is started."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.end = 0.0
        self.pages: list[float] = []  # seconds
        self.acts: list[float] = []  # seconds
        self.faults: list[str] = []

    async def signed_in(self, number: int) -> httpx.AsyncClient:
        client = httpx.AsyncClient(base_url=self.address, follow_redirects=True, timeout=60)
        answer = await client.post("/enter", data={"name": f"person {number}", "password": PASSWORD})
        assert answer.url.path == "/", answer.text
        return client

    async def look(self, client: httpx.AsyncClient, path: str, *, anew: bool = False) -> str:
        began = time.monotonic()
        try:
            answer = await client.get(path, headers={"x-relay-anew": "yes"} if anew else {})
        except httpx.TransportError as error:
            self.faults.append(f"{path}: {error!r}")
            return ""
        self.pages.append(time.monotonic() - began)
        if answer.status_code != 200:
            self.faults.append(f"{path}: {answer.status_code}")
        return answer.text

    async def viewer(self, number: int, client: httpx.AsyncClient) -> None:
        dice, changed = random.Random(number), asyncio.Event()
        await asyncio.sleep(dice.uniform(0, 10))
        listening = asyncio.create_task(self._listen(client, changed))
        path, anew = dice.choice(PAGES), False
        while time.monotonic() < self.end:
            await self.look(client, path, anew=anew)
            turn = time.monotonic() + dice.uniform(*TURNS_A_PAGE)
            try:
                await asyncio.wait_for(changed.wait(), max(0.1, turn - time.monotonic()))
                changed.clear()
                await asyncio.sleep(dice.uniform(0, 0.4))  # as the script does, which asks for the page bare
                anew = True
            except TimeoutError:
                path, anew = dice.choice(PAGES), False
        listening.cancel()
        await client.aclose()

    async def _listen(self, client: httpx.AsyncClient, changed: asyncio.Event) -> None:
        async with client.stream("GET", "/live", timeout=None) as events:
            async for line in events.aiter_lines():
                if line.startswith("data: "):
                    changed.set()

    async def actor(self, number: int, client: httpx.AsyncClient) -> None:
        dice = random.Random(number)
        found = re.search(r'name="relay-token" content="([0-9a-f]*)"', await self.look(client, "/"))
        token = found[1] if found else ""
        job = f"scan/A/R{number - VIEWERS + 1:02d}/1"
        holds = False
        while time.monotonic() < self.end:
            await asyncio.sleep(dice.uniform(*ACTS))
            await self.act(client, token, job, "release" if holds else "claim")
            holds = not holds
        await client.aclose()

    async def act(self, client: httpx.AsyncClient, token: str, name: str, act: str) -> None:
        jobs = (await client.get("/api/jobs", params={"which": "all", "most": 500})).json()["jobs"]
        seen = next(job["seen"] for job in jobs if job["job"] == name)
        asked = {"act": act, "job": name, "op": secrets.token_hex(16), "seen": seen}
        more = {"reason": "the print is wanted elsewhere"} if act == "release" else {}
        began = time.monotonic()
        answer = await client.post("/api/acts", json=asked | more, headers={"x-relay-token": token})
        self.acts.append(time.monotonic() - began)
        if answer.status_code != 200:
            self.faults.append(f"{act} {name}: {answer.text[:200]}")


def processor(pid: int) -> float:
    """Return the processor seconds that a process has used, its forecasts' process not counted."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> int:
    """Return the memory that a process has, in MB."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") // 1_000_000


async def measure(address: str, pid: int, minutes: float) -> None:
    crowd = Crowd(address)
    clients = [await crowd.signed_in(number) for number in range(VIEWERS + ACTORS)]
    crowd.end = time.monotonic() + 60 * minutes
    used = processor(pid)
    everybody = [
        crowd.viewer(number, client) if number < VIEWERS else crowd.actor(number, client)
        for number, client in enumerate(clients)
    ]
    running = asyncio.gather(*everybody)
    had = []
    while not running.done():
        await asyncio.sleep(15)
        had.append(memory(pid))
    await running
    for what, took in (("pages", crowd.pages), ("acts", crowd.acts)):
        cuts = quantiles(took, n=100)
        print(
            f"{len(took)} {what}: middle {cuts[49] * 1000:.0f} ms, p95 {cuts[94] * 1000:.0f}, p99 {cuts[98] * 1000:.0f}"
        )
    print(f"processor time of the board: {processor(pid) - used:.1f} s in {minutes:g} minutes")
    print(f"memory of the board every 15 s, MB: {had}")
    print(f"faults: {crowd.faults[:5] or 'none'}")


def main(minutes: float) -> None:
    with tempfile.TemporaryDirectory() as place:
        home = peopled(Path(place))
        command = [sys.executable, "-m", "tests.bench.board_load", "serve", str(home.folder)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as board:
            assert board.stdout is not None
            address = json.loads(board.stdout.readline())
            try:
                asyncio.run(measure(address, board.pid, minutes))
            finally:
                board.terminate()


def serve(folder: str) -> None:
    """Serve a board at a free port, and print its address."""
    from relay.board.reckoning import Apart
    from relay.board.serve import Place, Running, app_at

    app = app_at(Home(folder=Path(folder)), [], Place(), once=None, reckoner=Apart())
    with Running(app) as running:
        print(json.dumps(running.address), flush=True)
        while True:
            time.sleep(60)


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2])
    else:
        main(float(sys.argv[1]) if len(sys.argv) > 1 else 10)
