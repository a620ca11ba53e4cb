"""An invented production whose sites live in folders on this machine, over one store: what workers' tests stand on."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from relay.ledger import roster
from relay.ledger.copy import LocalCopy
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.state import State
from relay.model import Production
from relay.settings import Home, SiteFile
from relay.transfer.desk import Desk
from relay.wiring import found_store, open_desk, open_ledger, open_store
from tests.unit.ledger.rig import FakeClock
from workers.places import Places
from workers.room import Room
from workers.run import open_turn
from workers.turn import Turn

COORDINATOR = "oslo"

# Programs of automatic stages, in Python so that they run wherever the tests do.
COPY = """
import pathlib, shutil, sys
shutil.copytree(sys.argv[1], sys.argv[2], dirs_exist_ok=True)
"""
MAKE = """
import pathlib, sys
output, job = pathlib.Path(sys.argv[1]), sys.argv[2]
for number in range(2):
    (output / f"frame.{86400 + number:07d}.dpx").write_bytes(f"{job} {number}".encode() * 50)
"""


def program(text: str, *words: str) -> list[str]:
    """Return a stage's command that runs `text`. Its own interpreter is all it needs: nothing installed is imported."""
    return [sys.executable, "-I", "-S", "-c", text, *words]


SCAN = {"name": "scan", "command": program(MAKE, "{output}", "{job}")}
CHECK = {"name": "check", "after": ["scan"], "command": program(COPY, "{input}", "{output}")}


def film(stages: list[dict], sites: dict[str, list[str]], reels: int = 1, **more: object) -> Production:
    """Return a production; `sites` says which stages each site does, the coordinator's included. The first mends."""
    return Production.model_validate(
        {
            "name": "tide",
            "title": "The Tide Table",
            "premiere": {"at": "2026-10-24T20:00:00", "zone": "Europe/Oslo", "venue": "The old harbour hall"},
            "coordinator": COORDINATOR,
            "site": [
                {"name": name, "title": f"Site {name}", "zone": "UTC", "stages": does, "mends": name != COORDINATOR}
                for name, does in sites.items()
            ],
            "element": [
                {
                    "code": "A",
                    "title": "Print A",
                    "kind": "projection print",
                    "gauge": "35 mm",
                    "base": "nitrate",
                    "holder": "Archive A",
                    "reel": [{"name": f"R{number:03d}", "frames": 2} for number in range(1, reels + 1)],
                }
            ],
            "stage": stages,
            **more,
        }
    )


class House:
    """Every site with a home and folders of its own, all on the roster."""

    def __init__(self, root: Path, production: Production, store: str | None = None) -> None:
        self.root = root
        self.film = production
        self.store = store or str(root / "store")
        found_store(self.store)
        self._found()
        for site in production.sites:
            if site.name != COORDINATOR:
                self._join(site.name)

    def home(self, site: str) -> Home:
        return Home(folder=self.root / site / "home", hands=4)

    def places(self, site: str) -> Places:
        return Places(self.root / site).open()

    def _found(self) -> None:
        home, root, pen = self.home(COORDINATOR), Pen.fresh("root"), Pen.fresh(COORDINATOR)
        ledger = Ledger(open_store(self.store), LocalCopy(home.ledger), FakeClock(), None)
        roster.found(ledger, self.film, root, pen)
        self._settle(home, pen, ledger.state)

    def _settle(self, home: Home, pen: Pen, state: State) -> None:
        home.write(SiteFile(site=pen.name, production=self.film.name, root=state.root, store=self.store))
        pen.save(home.key)

    def _join(self, site: str) -> None:
        home, pen = self.home(site), Pen.fresh(site)
        with self.desk(COORDINATOR) as desk:
            invitation = roster.invite(desk.ledger, desk.pen, site, self.store)
            self._settle(home, pen, desk.ledger.state)
        roster.join(open_ledger(home, open_store(self.store), invitation.root), invitation, pen)

    @contextmanager
    def desk(self, site: str) -> Iterator[Desk]:
        with open_desk(self.home(site)) as desk:
            yield desk

    def room(self, site: str, **how: object) -> Room:
        return Room(self.places(site), self.home(site).locks, **{"settle": -1.0, "every": 0.0, **how})

    @contextmanager
    def turn(self, site: str, room: Room | None = None) -> Iterator[Turn]:
        with open_turn(self.home(site), room or self.room(site)) as turn:
            yield turn

    def state(self, site: str = COORDINATOR) -> State:
        with self.desk(site) as desk:
            return desk.ledger.follow()


def fill(folder: Path, files: dict[str, bytes]) -> Path:
    """Write a package into `folder`."""
    for path, body in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(body)
    return folder


def reel_of_frames(seed: int = 0, count: int = 3) -> dict[str, bytes]:
    return {f"frame.{86400 + number:07d}.dpx": f"{seed} {number} ".encode() * 200 for number in range(count)}
