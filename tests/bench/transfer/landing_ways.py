"""What it costs to have a package on the disk itself, way by way: `python -m tests.bench.transfer.landing_ways FOLDER`.

Only the writing is measured: 16 hands write what is in memory, then all of it is synced. The figures stand in
docs/decisions/durable-landing.md.
"""

import os
import resource
import shutil
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median
from typing import NamedTuple

from relay.transfer.budget import Budget
from relay.transfer.direct import set_aside, write_straight
from relay.transfer.durable import Syncing, sync_file
from relay.transfer.hands import do_all
from relay.transfer.tree import pwrite_all
from tests.bench.transfer.loads import FRAME, SMALL

HANDS = 16
ROUNDS = 5
CHUNK = 16 * 1024 * 1024  # bytes


class Way(NamedTuple):
    name: str
    write: Callable[[int, memoryview, int], None]
    start: bool  # let the disk begin at once
    each: bool  # sync file by file


WAYS = (
    Way("through memory, fsync of each file", pwrite_all, start=False, each=True),
    Way("through memory, syncfs at the end", pwrite_all, start=False, each=False),
    Way("through memory, begun at once, syncfs at the end", pwrite_all, start=True, each=False),
    Way("straight to the disk, fsync of each file", write_straight, start=False, each=True),
    Way("straight to the disk, syncfs at the end", write_straight, start=False, each=False),
)


def took(way: Way, base: Path, pieces: list[tuple[str, int]], size: int) -> tuple[float, float]:
    """Write the pieces, each a file and an offset; return seconds, and seconds of the processor."""
    shutil.rmtree(base, ignore_errors=True)
    base.mkdir()
    budget, syncing = Budget(), Syncing(base)
    if pieces[-1][1]:
        descriptor = os.open(base / pieces[0][0], os.O_WRONLY | os.O_CREAT)
        set_aside(descriptor, pieces[-1][1] + size)
        os.close(descriptor)

    def write(name: str, offset: int) -> None:
        with budget.of(size) as buffer:
            descriptor = os.open(base / name, os.O_WRONLY | os.O_CREAT)
            way.write(descriptor, buffer, offset)
            if way.start:
                syncing.start(descriptor, offset, size)
            os.close(descriptor)

    os.sync()
    used, began = resource.getrusage(resource.RUSAGE_SELF), time.monotonic()
    do_all((partial(write, *piece) for piece in pieces), HANDS)
    if way.each:
        do_all((partial(sync_file, path) for path in base.iterdir()), HANDS)
    syncing.finish([], [])
    seconds = time.monotonic() - began
    now = resource.getrusage(resource.RUSAGE_SELF)
    syncing.close()
    return seconds, now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime


def main(base: Path) -> None:
    loads = {
        "160 frames": ([(f"{n}.dpx", 0) for n in range(160)], FRAME),
        "a file of 2 GB, by chunks": ([("mix.wav", n * CHUNK) for n in range(120)], CHUNK),
        "4,000 files of 64 KiB": ([(f"{n}.dpx", 0) for n in range(4000)], SMALL),
    }
    print("| | " + " | ".join(loads) + " |\n| --- |" + " --- |" * len(loads))
    for way in WAYS:
        cells = []
        for pieces, size in loads.values():
            runs = [took(way, base, pieces, size) for _ in range(ROUNDS)]
            cells.append(f"{median(run[0] for run in runs):.2f} ({median(run[1] for run in runs):.2f})")
        print(f"| {way.name} | {' | '.join(cells)} |", flush=True)
    shutil.rmtree(base)


if __name__ == "__main__":
    main(Path(sys.argv[1]) / "relay-landing-ways")
