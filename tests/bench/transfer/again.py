"""What a second send of the same folder takes: 2 % changed, nothing changed, 16,000 frames unchanged."""

import json
import os
import time
from pathlib import Path
from statistics import median
from typing import NamedTuple

from tests.bench.transfer.loads import FRAMES, MANY, change
from tests.bench.transfer.measured import Measured, measured
from tests.bench.transfer.programs import Ours
from tests.bench.transfer.rounds import fresh, serving
from tests.servers.s3 import OwnServer

_QUIET = 4  # seconds; a file must have lain still that long for its hash to be believed later


class Again(NamedTuple):
    """Seconds, each the median over the rounds."""

    full: float
    changed: float
    changed_to_full: float
    unchanged: float
    many_unchanged: float
    hashed: tuple[int, int]
    """Bytes hashed by the full send, and bytes in the package."""


def run(server: type[OwnServer], base: Path, rounds: int) -> Again:
    """Measure with our own program alone: the question is what ours need not do again."""
    rows = [_round(server, base, number) for number in range(rounds)]
    full, changed, unchanged, many = (median(row[place].seconds for row in rows) for place in range(4))
    paired = median(row[1].seconds / row[0].seconds for row in rows)
    size = sum(path.stat().st_size for path in (base / FRAMES.name).rglob("*.dpx"))
    return Again(full, changed, paired, unchanged, many, (json.loads(rows[0][0].said)["hashed"], size))


def _round(server: type[OwnServer], base: Path, number: int) -> tuple[Measured, Measured, Measured, Measured]:
    for load in (FRAMES, MANY):
        if not (base / load.name).exists():
            load.fill(base / load.name)
    with serving(server) as started:
        ours = Ours(started, fresh(base / "home"))
        bucket, many = started.bucket(), started.bucket()
        time.sleep(_QUIET)
        os.sync()
        full = measured(ours.up(base / FRAMES.name, bucket), ours.environment())
        change(base / FRAMES.name, 2, seed=100 + number)
        os.sync()
        changed = measured(ours.up(base / FRAMES.name, bucket), ours.environment())
        time.sleep(_QUIET)  # the changed frames were too young to be remembered: once more
        measured(ours.up(base / FRAMES.name, bucket), ours.environment())
        unchanged = measured(ours.up(base / FRAMES.name, bucket), ours.environment())
        measured(ours.up(base / MANY.name, many), ours.environment())
        again = measured(ours.up(base / MANY.name, many), ours.environment())
    print(
        f"again {number}: {full.seconds:.2f} {changed.seconds:.2f} {unchanged.seconds:.2f} {again.seconds:.2f}",
        flush=True,
    )
    return full, changed, unchanged, again
