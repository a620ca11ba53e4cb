"""Through a long line: 150 ms there and back, 20 MB/s for each connection."""

import os
import shutil
from pathlib import Path
from statistics import median
from typing import NamedTuple

from relay.transfer.budget import IN_FLIGHT
from tests.bench.transfer.loads import FRAME, FRAMES
from tests.bench.transfer.measured import measured
from tests.bench.transfer.programs import Ours
from tests.bench.transfer.rounds import fresh, serving
from tests.servers.delaying import DelayingProxy
from tests.servers.s3 import OwnServer

ROUND_TRIP = 0.150  # seconds
RATE = 20_000_000  # bytes a second
HANDS = (4, 16)


class Far(NamedTuple):
    """Rates in bytes a second."""

    server: str
    hands: int
    allowed: float
    """What that many connections carry when each waits for the answer to one frame before it sends the next."""
    sent: float
    fetched: float


def run(server: type[OwnServer], base: Path, rounds: int) -> list[Far]:
    """Measure sending and fetching a reel with few and with many hands."""
    if not (base / FRAMES.name).exists():
        FRAMES.fill(base / FRAMES.name)
    with serving(server) as started, DelayingProxy(started, round_trip=ROUND_TRIP, rate=RATE) as line:
        return [_measured(server.__name__, line, base, hands, rounds) for hands in HANDS]


def _measured(server: str, line: DelayingProxy, base: Path, hands: int, rounds: int) -> Far:
    folder, target = base / FRAMES.name, base / "arrived"
    size = sum(path.stat().st_size for path in folder.rglob("*.dpx"))
    sent, fetched = [], []
    for _ in range(rounds):
        ours = Ours(line, fresh(base / "home"), hands)
        bucket = line.bucket()
        os.sync()
        sent.append(size / measured(ours.up(folder, bucket), ours.environment()).seconds)
        os.sync()
        fetched.append(size / measured(ours.down(bucket, target), ours.environment()).seconds)
        shutil.rmtree(target)
        print(f"far, {server}, {hands} hands: {sent[-1] / 1e6:.0f} {fetched[-1] / 1e6:.0f} MB/s", flush=True)
    connections = min(hands, IN_FLIGHT // FRAME)
    allowed = connections * FRAME / (FRAME / RATE + ROUND_TRIP)
    return Far(server, hands, allowed, median(sent), median(fetched))
