"""A fetch that ends at one chosen call to the file system, and what is found afterwards.

    python -m tests.faults.crash_points kill BASE HOW [sound] [left]    the process dies there
    python -m tests.faults.crash_points power BASE HOW KIND             the power is cut there, on a disk of that KIND

HOW is `at-once`, which is how this disk is synced, or `each`, which syncs file by file as on disks we know less of.
With `sound` the package has a file in chunks; with `left` an earlier run left right, wrong and strange files behind.
Each point is run in a fork of its own; one line of JSON for each says what call it was and what was found. A power
cut is a copy of the disk's blocks as they were at that moment, mounted again: what the system had in memory is lost.
"""

import ctypes
import json
import os
import random
import shutil
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT
from relay.transfer import direct, durable
from relay.transfer.fetch import fetch
from relay.transfer.notebook import Notebook
from relay.transfer.target import INCOMING
from tests.contracts.memory_store import MemoryStore
from tests.faults.disks import formatted, mounted
from tests.faults.fetch_house import lies_at, stored
from tests.faults.send_house import lay_out

DIED = 77
END = "the end"
CALLS = ("open", "pwrite", "ftruncate", "mkdir", "rename", "fsync", "unlink", "rmdir")
LIBRARY_CALLS = ("syncfs", "sync_file_range", "fallocate64")


class Counter:
    """Counts the calls that change a disk, and ends the process at one of them."""

    def __init__(self, point: int, log: Path) -> None:
        self._left = point
        self._log = log
        self._lock = threading.Lock()

    def step(self, name: str) -> None:
        with self._lock:
            self._left -= 1
            if self._left == 0:
                self._log.write_text(name)
                os._exit(DIED)

    def counted(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def counting(*args: Any, **how: Any) -> Any:
            if name == "open" and not (args[1] & (os.O_WRONLY | os.O_RDWR)):
                return call(*args, **how)
            self.step(f"before {name}{_of_what(args[0]) if name == 'fsync' else ''}")
            if name == "pwrite" and len(args[1]) > 1:
                half = args[1][: len(args[1]) // 2 // 4096 * 4096 or len(args[1]) // 2]
                call(args[0], half, args[2])  # as if the process died in the midst of the write
                self.step(f"half {name}")
            return call(*args, **how)

        return counting


def _of_what(descriptor: int) -> str:
    return " of a folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else " of a file"


class CountedLibrary:
    """The C library, with the calls that change a disk counted."""

    def __init__(self, counter: Counter, library: ctypes.CDLL) -> None:
        self._counter = counter
        self._library = library

    def __getattr__(self, name: str) -> Any:
        call = getattr(self._library, name)
        return self._counter.counted(name, call) if name in LIBRARY_CALLS else call


def strike(counter: Counter) -> None:
    for name in CALLS:
        setattr(os, name, counter.counted(name, getattr(os, name)))
    durable._LIBC = CountedLibrary(counter, durable._LIBC)
    direct._LIBC = CountedLibrary(counter, direct._LIBC)


def package(*, sound: bool) -> dict[str, bytes]:
    """Return small files, an empty one, one that is written straight to the disk, and perhaps one in chunks."""
    dice = random.Random(5)
    files = {f"frames/A_R01.{86400 + n:07d}.dpx": dice.randbytes(3000 + n) for n in range(3)}
    files |= {"notes.txt": b"", "scan/still.tif": dice.randbytes(1_100_000)}
    if sound:
        body = bytearray(WHOLE_LIMIT + 5)
        for place in range(0, len(body), CHUNK_SIZE):
            body[place : place + 5] = place.to_bytes(5, "big")
        files["mix.wav"] = bytes(body)
    return files


class Rounds:
    """The same fetch, again and again, cut short at one call after the other."""

    def __init__(self, base: Path, how: str, *, sound: bool = False) -> None:
        self.base = base
        self.files = package(sound=sound)
        self.store = MemoryStore()
        self.manifest = stored(self.store, self.files)
        if how == "each":
            durable._SYNCED_WHOLE = frozenset()

    def fetch(self, folder: Path, hands: int = 1) -> None:
        # The notebook is on the machine's own disk, as a site's home is.
        with Notebook(self.base / "notes") as notebook:
            fetched = fetch(self.manifest, self.store, folder / "arrived", notebook, hands=hands)
        if not fetched.whole:
            raise AssertionError(fetched.faults)

    def leave_behind(self, hidden: Path) -> None:
        """Lay out what an earlier run may have left: for this package, and for another one of the same name."""
        paths = sorted(self.files)
        lay_out(hidden, {paths[0]: self.files[paths[0]], paths[1]: b"cut off", "frames/stranger.dpx": b"?"})
        lay_out(hidden, {"of another/reel.dpx": b"?", f"{paths[2]}/is no folder": b"?"})

    def cut_at(self, point: int, folder: Path) -> str:
        """Run until call number `point`; return which call that was, or nothing when there are not that many."""
        log = self.base / "call"
        log.unlink(missing_ok=True)
        code = _forked(lambda: (strike(Counter(point, log)), self.fetch(folder)))
        if code not in {0, DIED}:
            raise AssertionError(f"the fetch ended with {code} before point {point}")
        return log.read_text() if code == DIED else ""

    def state(self, folder: Path) -> str:
        target = folder / "arrived"
        if not os.path.lexists(target):
            return "absent"
        return "whole" if lies_at(target) == self.files else "HALF"

    def state_after_another_run(self, folder: Path) -> str:
        failed = _forked(lambda: self.fetch(folder))
        litter = [path.name for path in folder.iterdir() if path.name.startswith(INCOMING)]
        return "failed" if failed else f"{self.state(folder)}{', litter left' if litter else ''}"


def _forked(work: Callable[[], object]) -> int:
    """Do `work` in a fork and return its exit code. This process has no threads, so a fork of it is sound."""
    child = os.fork()
    if child == 0:
        try:
            work()
        except BaseException:
            sys.excepthook(*sys.exc_info())
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def kill(base: Path, how: str, *more: str) -> None:
    rounds = Rounds(base, how, sound="sound" in more)
    folder, point = base / "site", 1
    while True:
        folder.mkdir()
        if "left" in more:
            rounds.leave_behind(folder / f"{INCOMING}arrived")
        call = rounds.cut_at(point, folder)
        say(point, call, rounds, folder)
        if not call:
            return
        shutil.rmtree(folder)
        point += 1


def power(base: Path, how: str, kind: str) -> None:
    rounds = Rounds(base, how)
    image, copy, point = base / "disk.img", base / "copy.img", 1
    while True:
        formatted(image, kind)
        with mounted(base / "site", "-o", "loop", image):
            call = rounds.cut_at(point, base / "site")
            subprocess.run(["cp", "--sparse=always", image, copy], check=True)
        # One after the other: a disk and its copy bear one identity, and XFS refuses to mount both.
        with mounted(base / "after", "-o", "loop", copy):
            say(point, call, rounds, base / "after")
        if not call:
            return
        point += 1


def say(point: int, call: str, rounds: Rounds, folder: Path) -> None:
    found = rounds.state(folder)
    after = rounds.state_after_another_run(folder)
    print(json.dumps({"point": point, "call": call or END, "found": found, "after": after}), flush=True)


if __name__ == "__main__":
    run = {"kill": kill, "power": power}[sys.argv[1]]
    run(Path(sys.argv[2]), *sys.argv[3:])
