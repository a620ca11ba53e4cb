"""The real chain on one machine: a bucket on SeaweedFS, a broker, a worker at each site, a board for each."""

from contextlib import ExitStack
from pathlib import Path
from typing import Self

from relay.board.serve import Place, Running, app_at
from relay.ledger import work
from relay.settings import Home
from tests.faults.workers_broker import Redis
from tests.faults.workers_crew import Crew
from tests.servers.s3 import OwnServer
from tests.unit.board.asking import Asker
from tests.unit.workers.house import COORDINATOR, House, fill, film, reel_of_frames

HALIFAX, TOKYO, KOLKATA = "halifax", "tokyo", "kolkata"
REELS = 5
STAGES = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
DOES: dict[str, list[str]] = {COORDINATOR: [], HALIFAX: ["scan"], TOKYO: ["scan"], KOLKATA: ["grade"]}


class Chain:
    """Whoever enters it finds jobs open and workers at work. Its keys to the bucket must stand in the environment."""

    def __init__(self, place: Path, server: OwnServer, broker: Redis) -> None:
        self.server, self.broker = server, broker
        self._client, self._bucket = server.client(), server.bucket()
        store = f"s3://{self._bucket}/films/tide?endpoint={server.endpoint}"
        self.house = House(place, film(STAGES, DOES, reels=REELS), store)
        working = [COORDINATOR, HALIFAX, KOLKATA]
        self.crew = Crew(self.house, working, 2.0, dict.fromkeys(working, broker.address))
        self.boards: dict[str, Asker] = {}
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        with self.house.desk(COORDINATOR) as desk:
            work.open_due(desk.ledger, desk.pen)
        self._stack.callback(self.crew.stop)
        self.crew.start_all()
        for site in (COORDINATOR, HALIFAX, TOKYO):
            home = Home(folder=self.house.home(site).folder, broker_address=self.broker.address)
            running = self._stack.enter_context(Running(app_at(home, [], Place(), once="sesame")))
            self.boards[site] = self._stack.enter_context(Asker(running.address))
            self.boards[site].comes_in("sesame")
        return self

    def __exit__(self, *_: object) -> None:
        self._stack.close()

    def drops(self, site: str, reel: str, seed: int) -> None:
        """Put a finished scan into the site's `to-send/`, as people do."""
        to_send, name = self.house.places(site).to_send, reel.replace("/", "_")
        fill(to_send / name, reel_of_frames(seed))
        (to_send / f"{name}.finished").touch()

    def spoil(self, seed: int) -> None:
        """Flip a bit of a frame of the scan with that seed, as it lies in the bucket."""
        from relay.model import digest_of
        from relay.store.keys import object_key

        body = reel_of_frames(seed)["frame.0086401.dpx"]
        key = f"films/tide/{object_key(digest_of(body))}"
        self._client.put_object(Bucket=self._bucket, Key=key, Body=body[:-1] + bytes([body[-1] ^ 1]))
