"""Servers that break a promise on purpose, so that the probe of a store has something to find."""

import sys
from pathlib import Path
from typing import ClassVar

from tests.servers.process import free_port
from tests.servers.s3 import OwnServer
from tests.servers.small_s3 import Fault


class FaultyServer(OwnServer):
    """One fault; everything else is right. What it holds is gone when it is killed."""

    fault: ClassVar[Fault] = Fault.NONE

    def __init__(self, fault: Fault | None = None) -> None:
        self._fault = fault or self.fault
        self._port = free_port()
        super().__init__(f"http://127.0.0.1:{self._port}", "access-key", "secret-key")

    def start(self) -> None:
        program = Path(__file__).with_name("small_s3.py")
        self.run(sys.executable, program, str(self._port), self._fault)


class IgnoringServer(FaultyServer):
    """Silently ignores `If-None-Match`: every writer is told that it created the object."""

    fault = Fault.IGNORES_CONDITION
