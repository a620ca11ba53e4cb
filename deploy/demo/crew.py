"""The demo's workers: one process a site, under guard, so that none outlives the demo, however that ends."""

import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Self
from urllib.parse import quote

from deploy.demo.house import RELAY, REPO, WORKING, House, UnexpectedError
from relay.settings import BROKER_VARIABLE
from workers.broker import answers
from workers.program import Guarded

KEEPER = "lisbon"
"""The site whose worker runs the broker."""

_SOCKET_LIMIT = 100  # bytes, as workers.broker has it
_GRACE = 25.0  # seconds: a worker takes twenty to reach a safe place, at most
_LAST_LINES = 6


class Crew:
    """The four workers, and the broker that one of them runs."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._running: dict[str, Guarded] = {}
        self._links = ExitStack()
        self._homes = house.place if self._fits(house.place) else self._linked(house.place)

    def _fits(self, place: Path) -> bool:
        return len(str(place / KEEPER / "home" / "broker" / "socket").encode()) <= _SOCKET_LIMIT

    def _linked(self, place: Path) -> Path:
        """Return another, shorter path to the same folder: the address of a socket has little room."""
        link = Path(self._links.enter_context(tempfile.TemporaryDirectory(prefix="relay-"))) / "demo"
        link.symlink_to(place)
        return link

    @property
    def socket(self) -> Path:
        return self._homes / KEEPER / "home" / "broker" / "socket"

    @property
    def bell(self) -> dict[str, str]:
        """What names the broker to a command or a worker."""
        return {BROKER_VARIABLE: f"redis+socket://{quote(str(self.socket))}"}

    def __enter__(self) -> Self:
        for site in WORKING:
            self.start(site)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._links, ThreadPoolExecutor() as pool:
            for _ in pool.map(self.stop, list(self._running)):
                pass

    def start(self, site: str) -> None:
        """Start a site's worker. It looks by itself every five seconds; rung, at once."""
        words = ["--home", self._homes / site / "home", "site", "run", "--folder", self._house / site, "--every", "5"]
        more = {} if site == KEEPER else self.bell
        with self._log(site).open("ab") as log:
            self._running[site] = Guarded(
                [str(word) for word in (RELAY, *words, *(["--embedded"] if site == KEEPER else []))],
                folder=REPO,
                environment=self._house.environment(**more),
                stdout=log,
                stderr=subprocess.STDOUT,
                grace=_GRACE,
            )

    def stop(self, site: str) -> None:
        """Ask a site's worker to end, and wait for that."""
        if worker := self._running.pop(site, None):
            with worker:
                worker.end(_GRACE + 5)

    def kill(self, site: str) -> None:
        """Kill a site's worker as a power cut would: SIGKILL, and no word to anybody."""
        with self._running.pop(site) as worker:
            worker.kill()

    def has_broker(self) -> bool:
        return answers(self.socket)

    def check(self) -> None:
        """Raise UnexpectedError where a worker ended that nobody stopped."""
        for site, worker in self._running.items():
            if not worker.is_running():
                raise UnexpectedError(f"the worker in {site} ended by itself. {self.told(site)}")

    def told(self, site: str) -> str:
        """Return what a site's worker said last."""
        said = self._log(site).read_text(encoding="utf-8", errors="replace").splitlines()[-_LAST_LINES:]
        return f"{self._log(site)} says last:\n" + "\n".join(f"    {line}" for line in said)

    def _log(self, site: str) -> Path:
        return self._house / site / "worker.log"
