"""Prints a table: frames a second of a plain hash, of an inspection, of a reference copy, and the memory they took.

Frames are the photographic clip at 2048x1556, 10-bit DPX, in the page cache. Each way runs in processes of its own and
several times, turn about; the best round counts, since others may share the machine. CPU is user and system time of the
process and its children.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from tests.references.pictures import clip, write_reel

FRAMES, ROUNDS = 72, 3

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
EMPTY = {_HASH: "import hashlib", _INSPECT: "import relay.media.inspection", _COPY: "import relay.media.reference"}


def measured(program: str, folder: Path, scratch: Path) -> tuple[float, float]:
    """Return seconds, and the most MB that the process and its children held together."""
    began = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", program, str(folder), str(scratch / "copy.mov")])
    peak = 0
    while process.poll() is None:
        peak = max(peak, _held(process.pid))
        time.sleep(0.02)
    took = time.perf_counter() - began
    assert process.returncode == 0
    return took, peak / 1e6


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
        folder = write_reel(clip(cache), Path(place) / "reel", FRAMES) / "frames"
        subprocess.run([sys.executable, "-c", _HASH, str(folder)], check=True)  # warm
        best: dict[str, tuple[float, float, float]] = {}
        for _ in range(ROUNDS):
            for name, program in WAYS.items():
                before = os.times()
                took, memory = measured(program, folder, Path(place))
                after = os.times()
                cpu = after.children_user + after.children_system - before.children_user - before.children_system
                start = time.perf_counter()
                before = os.times()
                subprocess.run([sys.executable, "-c", EMPTY[program]], check=True)
                after = os.times()
                idle = after.children_user + after.children_system - before.children_user - before.children_system
                took -= time.perf_counter() - start
                found = (took, cpu - idle, memory)
                best[name] = min(best.get(name, found), found)
        print(f"{FRAMES} frames, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        print("| what | frames/s | CPU ms a frame | memory MB |\n| --- | --- | --- | --- |")
        for name, (took, cpu, memory) in best.items():
            print(f"| {name} | {FRAMES / took:.1f} | {cpu / FRAMES * 1000:.1f} | {memory:.0f} |")


@pytest.mark.bench
def test_inspection_and_copies_beside_a_plain_hash() -> None:
    run()


if __name__ == "__main__":
    run()
