"""Moto's server: an S3 in memory that checks no secret and no digest. For names and conditions only."""

import sys
from importlib.util import find_spec

from tests.servers.process import free_port
from tests.servers.s3 import OwnServer, ServerMissingError


class MotoServer(OwnServer):
    def __init__(self) -> None:
        if find_spec("moto") is None:
            raise ServerMissingError("moto is not installed: pip install 'moto[server]'")
        self._port = free_port()
        super().__init__(f"http://127.0.0.1:{self._port}", "access-key", "secret-key")

    def start(self) -> None:
        self.run(sys.executable, "-m", "moto.server", "--host", "127.0.0.1", "--port", str(self._port))
