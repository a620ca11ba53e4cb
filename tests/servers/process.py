"""A server's process: started with its output in a file, ended with the test session whatever happens."""

import atexit
import os
import secrets
import shutil
import signal
import socket
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

# Below what Linux and macOS give to outgoing connections, one of which could take the port before the server does.
_PORTS = range(10_000, 32_000)


def free_port() -> int:
    """Return a TCP port of 127.0.0.1 that nobody listened on a moment ago."""
    while True:
        port = secrets.choice(_PORTS)
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


class Process:
    """One child in a process group of its own, so that what it starts ends with it."""

    def __init__(self, command: Sequence[str | Path], log: Path) -> None:
        self._log = log
        # Where Linux offers it, a server also ends when the tests themselves were killed and could not end it.
        leash = [found, "--pdeathsig", "KILL"] if (found := shutil.which("setpriv")) else []
        with log.open("ab") as output:
            self._child = subprocess.Popen(
                [*leash, *map(str, command)],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        atexit.register(self.kill9)

    @property
    def pid(self) -> int:
        return self._child.pid

    def is_running(self) -> bool:
        return self._child.poll() is None

    def kill9(self) -> None:
        if self.is_running():
            os.killpg(self._child.pid, signal.SIGKILL)
            self._child.wait(10)
        atexit.unregister(self.kill9)

    def last_words(self) -> str:
        """Return the end of what it printed, for a message to a person."""
        return self._log.read_text(errors="replace")[-2000:]
