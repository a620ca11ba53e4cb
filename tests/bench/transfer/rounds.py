"""Rounds of measuring: in each, every program sends and fetches the same load on one fresh server, in turn."""

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import NamedTuple

from tests.bench.transfer.loads import Load
from tests.bench.transfer.measured import Measured, measured
from tests.bench.transfer.programs import OTHERS, Ours, Program
from tests.servers.s3 import OwnServer


class Figures(NamedTuple):
    """What each program took for one load in one direction, a figure for every round."""

    load: str
    direction: str
    server: str
    took: dict[str, list[Measured]]

    def seconds(self, name: str) -> float:
        """Return the median."""
        return median(each.seconds for each in self.took[name])

    def fastest(self) -> str:
        """Return which of the other programs was the fastest, by its median."""
        return min((name for name in self.took if name != Ours.name), key=self.seconds)

    def ratio(self) -> float:
        """Return how our time compares with the fastest other program's, the median over the rounds."""
        pairs = zip(self.took[Ours.name], self.took[self.fastest()], strict=True)
        return median(ours.seconds / other.seconds for ours, other in pairs)

    def peak(self) -> int:
        """Return the most memory that ours took in any round, in bytes."""
        return max(json.loads(each.said)["memory"] for each in self.took[Ours.name])


@contextmanager
def serving(server: type[OwnServer]) -> Iterator[OwnServer]:
    started = server()
    try:
        yield started
    finally:
        started.stop()


def turns(number: int) -> list[type[Program]]:
    """Return the programs in the order of round `number`: each is first in its turn."""
    programs = [Ours, *OTHERS]
    start = number % len(programs)
    return programs[start:] + programs[:start]


def run(load: Load, server: type[OwnServer], base: Path, rounds: int) -> tuple[Figures, Figures]:
    """Measure sending and fetching."""
    folder = base / load.name
    if not folder.exists():
        load.fill(folder)
    up: dict[str, list[Measured]] = {}
    down: dict[str, list[Measured]] = {}
    for number in range(rounds):
        with serving(server) as started:
            for program in turns(number):
                sent, fetched = _there_and_back(program(started, fresh(base / "home")), folder, base / "arrived")
                up.setdefault(program.name, []).append(sent)
                down.setdefault(program.name, []).append(fetched)
                print(f"{load.name} {number}: {program.name} {sent.seconds:.2f} {fetched.seconds:.2f}", flush=True)
    name = server.__name__
    return Figures(load.title, "send", name, up), Figures(load.title, "fetch", name, down)


def _there_and_back(program: Program, folder: Path, target: Path) -> tuple[Measured, Measured]:
    bucket = program.server.bucket()
    os.sync()
    sent = measured(program.up(folder, bucket), program.environment())
    os.sync()
    sync = None if program.syncs else target.parent
    fetched = measured(program.down(bucket, target), program.environment(), sync)
    _check_arrived(folder, target)
    shutil.rmtree(target)
    return sent, fetched


def _check_arrived(folder: Path, target: Path) -> None:
    sizes = {path.relative_to(folder): path.stat().st_size for path in folder.rglob("*") if path.is_file()}
    found = {path.relative_to(target): path.stat().st_size for path in target.rglob("*") if path.is_file()}
    if found != sizes:
        raise AssertionError(f"{len(found)} files arrived, {len(sizes)} were sent")


def fresh(folder: Path) -> Path:
    """Return `folder`, empty."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder
