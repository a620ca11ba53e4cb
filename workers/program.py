"""Programs run under guard: whatever happens to this process, they end with it, and all that they started as well."""

import os
import re
import select
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, NamedTuple, Self

from relay.clock import Clock
from relay.errors import TransientError
from workers import guard

GRACE = 3.0
"""Seconds between asking a program to end and killing it."""

KEPT = 2000
"""Bytes of what a program said last that are kept, however much it says."""

_UNSEEN = re.compile(r"[^\S\n\t ]|[\x00-\x08\x0e-\x1f\x7f-\x9f]")
_LOOK = 0.2  # seconds between two looks at whether to stop
_READS = 64  # between two such looks


class Guarded:
    """A running program in a process group of its own."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        folder: Path | None = None,
        environment: Mapping[str, str] | None = None,
        stdin: int | IO[Any] = subprocess.DEVNULL,
        stdout: int | IO[Any] | None = None,
        stderr: int | IO[Any] | None = None,
        grace: float = GRACE,
    ) -> None:
        reading, self._alive = os.pipe()
        try:
            # -I: nothing of the person's own Python settings; -S: nothing installed. The program itself gets them all.
            self.process = subprocess.Popen(  # noqa: S603  no shell; who chose the command is for the caller to know
                [sys.executable, "-I", "-S", guard.__file__, str(reading), str(grace), *command],
                cwd=folder,
                env=None if environment is None else dict(environment),
                stdin=stdin,
                stdout=stdout,
                stderr=stderr,
                pass_fds=[reading],
                start_new_session=True,
            )
        except OSError as error:
            os.close(self._alive)
            raise TransientError(
                f"{command[0]} could not be started: the system has no room for it just now ({error.strerror})"
            ) from error
        finally:
            os.close(reading)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()

    def is_running(self) -> bool:
        return self.process.poll() is None

    def end(self, patience: float = GRACE + 2) -> None:
        """Ask the program to end; kill it when it does not."""
        self._let_go()
        try:
            self.process.wait(patience)
        except subprocess.TimeoutExpired:
            self.kill()

    def kill(self) -> None:
        """Kill the program, and whatever it started and left behind in its group."""
        self._let_go()
        with suppress(ProcessLookupError, PermissionError):  # macOS says EPERM where only the dead are left
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def _let_go(self) -> None:
        if self._alive >= 0:
            os.close(self._alive)
            self._alive = -1


class Ran(NamedTuple):
    """How a program ended."""

    code: int | None
    """Its exit code, 128 + N when signal N killed it; None when it was ended here."""
    said: str
    """The last of what it wrote to standard output and error."""


def run(
    command: Sequence[str],
    folder: Path,
    limit: float,
    clock: Clock,
    *,
    is_stopping: Callable[[], bool] = lambda: False,
    environment: Mapping[str, str] | None = None,
) -> Ran:
    """Run a program for at most `limit` seconds, or until `is_stopping()`; remember the last `KEPT` bytes it wrote."""
    with Guarded(
        command, folder=folder, environment=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as program:
        end, said = clock.ticks() + limit, bytearray()
        while program.is_running():
            if clock.ticks() >= end or is_stopping():
                program.end()
                return Ran(None, _text(said))
            _listen(program, said, min(_LOOK, max(0.0, end - clock.ticks())))
        code = program.process.returncode
        program.kill()  # what it left running
        _listen(program, said, 0)
        return Ran(code, _text(said))


def _listen(program: Guarded, said: bytearray, patience: float) -> None:
    """Read what there is to read; wait for it, or for the program's end, at most `patience` seconds."""
    pipe = program.process.stdout
    assert pipe is not None
    for _ in range(_READS):  # whoever writes without end must not keep us from looking at the clock
        if not select.select([pipe], [], [], patience)[0]:
            return
        some = os.read(pipe.fileno(), 65536)
        if not some:
            _wait_a_little(program, patience)
            return
        said += some
        del said[:-KEPT]
        patience = 0


def _wait_a_little(program: Guarded, patience: float) -> None:
    """A program may close its output and go on."""
    try:
        program.process.wait(patience)
    except subprocess.TimeoutExpired:
        return


def _text(said: bytearray) -> str:
    """Return what was said in a form that nobody's window takes for orders."""
    return _UNSEEN.sub("", said.decode("utf-8", "replace")).strip()
