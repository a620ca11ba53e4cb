"""One command, measured: wall-clock seconds and processor seconds."""

import os
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from tests.bench.transfer.programs import ROOT


class Measured(NamedTuple):
    """What one command took."""

    seconds: float
    processor: float  # seconds
    said: str


class FailedError(Exception):
    """A program did not do what it was asked to."""


def measured(command: Sequence[str], environment: Mapping[str, str], sync: Path | None = None) -> Measured:
    """Run `command`; the time includes bringing the disk that `sync` lies on up to date, where that is asked for."""
    began = time.monotonic()
    with subprocess.Popen(
        command,
        env={**os.environ, **environment},
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as child:
        assert child.stdout is not None
        said = child.stdout.read()
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise FailedError(f"{' '.join(command)} ended with {child.returncode}:\n{said[-2000:]}")
    if sync is not None:
        subprocess.run(["sync", "-f", str(sync)], check=True)
    seconds = time.monotonic() - began
    return Measured(seconds, usage.ru_utime + usage.ru_stime, said)
