"""Prints a table: frames a second of a plain hash, of an inspection, of a reference copy, and the memory they took.

Frames are the photographic clip at 2048x1556, 10-bit DPX, in the page cache. Each way runs in processes of its own and
several times, turn about; the best round counts, since others may share the machine. Each runs over two frames as well:
what that takes, processes and libraries begun, is taken off. CPU is user and system time of the process and its
children.
"""

import itertools
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.references.pictures import clip, write_reel

FRAMES, FEW, ROUNDS = 144, 2, 3

_HASH = """
import hashlib, sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
def digest(path):
    with path.open("rb", buffering=0) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
with ThreadPoolExecutor(2) as pool:
    list(pool.map(digest, sorted(Path(sys.argv[1]).iterdir())))
"""
_INSPECT = """
import sys
from pathlib import Path
from relay.media.eyes import Eyes
from relay.media.inspection import inspect_folder
folder = Path(sys.argv[1])
with Eyes(2) as eyes:
    seen = inspect_folder(folder, [path.name for path in folder.iterdir()], eyes)
    assert seen.report().looked_at == len(seen.digests) > 0
    assert not seen.report().blocking()
"""
_COPY = """
import sys
from fractions import Fraction
from pathlib import Path
from relay.media.reference import Slip, Source, copy_reel
frames = [Source(at, path) for at, path in enumerate(sorted(Path(sys.argv[1]).iterdir()))]
copy_reel(frames, Slip("A", "R01", "35mm", Fraction(24)), Path(sys.argv[2]))
"""
WAYS = {"plain SHA-256, two threads": _HASH, "inspect, with the hash": _INSPECT, "reference copy, H.264": _COPY}


@dataclass(frozen=True)
class Measured:
    """Of one run: seconds on the wall, of both cores together, and the most MB that all its processes held at once."""

    wall: float
    cpu: float
    memory: float

    def better(self, other: "Measured") -> "Measured":
        return Measured(min(self.wall, other.wall), min(self.cpu, other.cpu), max(self.memory, other.memory))


def measured(program: str, folder: Path, scratch: Path) -> Measured:
    before, began = os.times(), time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", program, str(folder), str(scratch / "copy.mov")])
    peak = 0
    while process.poll() is None:
        peak = max(peak, _held(process.pid))
        time.sleep(0.1)
    took, after = time.perf_counter() - began, os.times()
    assert process.returncode == 0
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return Measured(took, cpu, peak / 1e6)


def _held(pid: int) -> int:
    """Return the bytes that a process and its children hold, shared pages once (proportional set size)."""
    total = 0
    for each in (pid, *_children(pid)):
        try:
            text = Path(f"/proc/{each}/smaps_rollup").read_text()
        except OSError:
            continue
        total += sum(int(line.split()[1]) * 1024 for line in text.splitlines() if line.startswith("Pss:"))
    return total


def _children(pid: int) -> list[int]:
    try:
        return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def run() -> None:
    cache = Path(tempfile.gettempdir()) / "relay-bench-pictures"
    cache.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        folder, few = write_reel(clip(cache), Path(place) / "reel", FRAMES) / "frames", Path(place) / "few"
        few.mkdir()
        for path in sorted(folder.iterdir())[:FEW]:
            (few / path.name).hardlink_to(path)
        measured(_HASH, folder, Path(place))  # so that it is in the page cache
        best: dict[tuple[str, Path], Measured] = {}
        for _, name, frames in itertools.product(range(ROUNDS), WAYS, (few, folder)):
            found = measured(WAYS[name], frames, Path(place))
            best[name, frames] = found.better(best.get((name, frames), found))
        print(f"{FRAMES} frames, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        print("| what | frames/s | CPU ms a frame | memory MB | begun in s |\n| --- | --- | --- | --- | --- |")
        for name in WAYS:
            start, whole = best[name, few], best[name, folder]
            rate, cpu = (FRAMES - FEW) / (whole.wall - start.wall), (whole.cpu - start.cpu) / (FRAMES - FEW) * 1000
            print(f"| {name} | {rate:.1f} | {cpu:.1f} | {whole.memory:.0f} | {start.wall:.2f} |")


@pytest.mark.bench
def test_inspection_and_copies_beside_a_plain_hash() -> None:
    run()


if __name__ == "__main__":
    run()
