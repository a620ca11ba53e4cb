"""Looks at strangers' files in child processes: what kills one of them is a finding about a file, and no more.

Each child shares memory with this process, so a frame's bytes are read once: hashed here while it is decoded there.
"""

import json
import mmap
import os
import queue
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from typing import IO, Any, Self

from relay.errors import RefusedError, TransientError
from relay.media.memory import shared_file
from relay.settings import program_environment

ANSWER_LIMIT = 4 * 1024 * 1024  # bytes
THUMB_ROOM = 128 * 160 * 3  # bytes; as the child has it
_ROOM_STEP = 16 * 1024 * 1024  # bytes

_AT_WORK = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    # Arrays of a megabyte are asked for and given back a dozen times a frame: let them not go back to the system.
    "MALLOC_MMAP_THRESHOLD_": "268435456",
    "MALLOC_TRIM_THRESHOLD_": "268435456",
    "MALLOC_ARENA_MAX": "2",  # each takes 64 MB of the addresses that a look may take
}

Fill = Callable[[memoryview], None]


@dataclass(frozen=True, slots=True)
class Look:
    """What a child answered: facts by name, and a thumbnail as rows of red, green, blue."""

    facts: dict[str, Any]
    thumb: bytes = b""


def check_media() -> None:
    """Raise RefusedError where the libraries that read pictures and sound are not installed."""
    lacking = [name for name in ("av", "numpy", "OpenImageIO", "soundfile", "PIL") if find_spec(name) is None]
    if lacking:
        raise RefusedError(
            f"pictures and sound cannot be read: {', '.join(lacking)} not found here. "
            "Install them with pip install 'relay-handoff[media]', then run this again"
        )


def has_media() -> bool:
    """Answer whether pictures and sound can be read here."""
    try:
        check_media()
    except RefusedError:
        return False
    return True


class Eyes:
    """A few children; any thread may ask, and waits until one of them is free."""

    def __init__(self, number: int = 2) -> None:
        check_media()
        self._children = [_Child() for _ in range(number)]
        self._free: queue.Queue[_Child] = queue.LifoQueue()  # whoever is warm, before one that must start
        for child in self._children:
            self._free.put(child)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for child in self._children:
            child.close()

    def frame(self, kind: str, length: int, fill: Fill, meanwhile: Callable[[memoryview], None] | None = None) -> Look:
        """Look at a frame of `length` bytes that `fill` puts into memory; `meanwhile` reads the same bytes beside."""
        with self._one() as child:
            body = child.room_for(length)
            fill(body)
            child.ask({"what": "frame", "kind": kind, "length": length})
            if meanwhile:
                meanwhile(body)
            return child.answer()

    def file(self, told: dict[str, Any]) -> Look:
        """Look at a sound or a movie, which the child reads by itself."""
        with self._one() as child:
            child.ask(told)
            return child.answer()

    @contextmanager
    def _one(self) -> Iterator["_Child"]:
        child = self._free.get()
        try:
            yield child
        except BaseException:
            child.close()  # whatever it was asked, nobody waits for the answer any more
            raise
        finally:
            self._free.put(child)


class _Child:
    """One process, started when it is first needed and again after it died."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._body = self._thumbs = -1
        self._memory: mmap.mmap | None = None
        self._room = 0
        self._length = 0

    def close(self) -> None:
        """End the process; the next question starts another."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    with suppress(OSError):
                        pipe.close()
        if self._body >= 0:
            os.close(self._body)
            os.close(self._thumbs)
        self._body = self._thumbs = -1
        self._memory, self._room = None, 0

    def _start(self) -> None:
        self._body, self._thumbs = shared_file(0), shared_file(THUMB_ROOM)
        environment = {**program_environment(), **_AT_WORK}
        # -P: the folder that one stands in may be a stranger's, and is no place to import from.
        command = [sys.executable, "-P", "-m", "relay.media.child", str(self._body), str(self._thumbs)]
        try:
            self._process = subprocess.Popen(  # noqa: S603  our own module
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                pass_fds=[self._body, self._thumbs],
                env=environment,
            )
        except OSError as error:
            raise TransientError(f"no process could be started to look at pictures ({error.strerror})") from error

    def room_for(self, length: int) -> memoryview:
        """Return memory of exactly `length` bytes that the process sees, too."""
        if self._process is None:
            self._start()
        if length > self._room:
            self._room = -(-length // _ROOM_STEP) * _ROOM_STEP
            os.ftruncate(self._body, self._room)
            self._memory = mmap.mmap(self._body, self._room)
            self.ask({"what": "room", "size": self._room})
            if fault := self.answer().facts.get("fault"):
                raise TransientError(f"no process to look at pictures could be started here: {fault}")
            self._length = self._room
        if length != self._length:  # a reader must see the file end where the frame ends
            os.ftruncate(self._body, 0)
            os.ftruncate(self._body, length)
            self._length = length
        assert self._memory is not None or length == 0
        return memoryview(self._memory or b"")[:length]

    def ask(self, told: dict[str, Any]) -> None:
        if self._process is None:
            self._start()
        assert self._process is not None
        pipe: IO[bytes] | None = self._process.stdin
        assert pipe is not None
        with suppress(BrokenPipeError):  # it died; the answer says so
            pipe.write(json.dumps(told).encode() + b"\n")
            pipe.flush()

    def answer(self) -> Look:
        """Wait for the answer; a process that died of the question is what the answer says."""
        process = self._process
        assert process is not None
        assert process.stdout is not None
        line = process.stdout.readline(ANSWER_LIMIT)
        if not line.endswith(b"\n"):
            code = process.wait() if not line else None
            self.close()
            return Look({"fault": _died(code)})
        facts = json.loads(line)
        columns, rows = facts.get("thumb") or (0, 0)
        size = columns * rows * 3
        return Look(facts, os.pread(self._thumbs, size, 0) if 0 < size <= THUMB_ROOM else b"")


def _died(code: int | None) -> str:
    if code == -14:
        return "looking at it took longer than its size accounts for, and was stopped"
    return "the process that looked at it was killed by it"
