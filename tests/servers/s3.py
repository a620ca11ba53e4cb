"""What every S3 server of the tests can do: hand out new buckets, say when it serves, die, come back.

Every run of tests loads this; the client's libraries are loaded where a server is asked for.
"""

import shutil
import tempfile
import time
import uuid
from abc import ABC, abstractmethod
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from tests.servers.process import Process

if TYPE_CHECKING:
    from mypy_boto3_s3 import S3Client


class ServerMissingError(Exception):
    """The server's program is not installed here."""


class ServerNotReadyError(Exception):
    """The server started but does not serve, or ended."""


class S3Server(ABC):
    """An S3 endpoint on 127.0.0.1 with one pair of keys that may do everything."""

    def __init__(self, endpoint: str, access_key: str, secret_key: str) -> None:
        self.endpoint = endpoint
        self.access_key = access_key
        self.secret_key = secret_key

    def client(self, *, attempts: int = 3) -> "S3Client":
        """Return a client that tries each request `attempts` times in all."""
        import boto3
        import botocore.session
        from botocore.config import Config

        from relay.store.found import LOADED

        session = botocore.session.Session()
        session.register_component("data_loader", LOADED)
        return boto3.session.Session(botocore_session=session).client(
            "s3",
            endpoint_url=self.endpoint,
            region_name="us-east-1",
            aws_access_key_id=self.access_key,
            aws_secret_access_key=self.secret_key,
            config=Config(
                retries={"total_max_attempts": attempts, "mode": "standard"},
                connect_timeout=5,
                read_timeout=30,
                s3={"addressing_style": "path"},
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
            ),
        )

    def bucket(self) -> str:
        """Create a bucket of a new name."""
        name = f"test-{uuid.uuid4().hex[:16]}"
        self._buckets.create_bucket(Bucket=name)
        return name

    @cached_property
    def _buckets(self) -> "S3Client":
        return self.client()

    @abstractmethod
    def kill9(self) -> None:
        """End it without a word, as a power cut would."""

    @abstractmethod
    def restart(self) -> None:
        """Start it again over the same folder, and return when it serves."""

    @abstractmethod
    def stop(self) -> None:
        """End it and remove its folder."""


class OwnServer(S3Server):
    """A server that the tests start: processes over one temporary folder."""

    patience = 60.0
    """Seconds until it must serve."""

    def __init__(self, endpoint: str, access_key: str, secret_key: str) -> None:
        super().__init__(endpoint, access_key, secret_key)
        # Directly under /tmp: the path of a Unix socket may have 107 bytes at most.
        self.folder = Path(tempfile.mkdtemp(prefix="relay-", dir="/tmp"))
        self._ready_bucket: str | None = None
        self.processes: list[Process] = []
        try:
            self.prepare()
            self.start()
            self.wait_until_serving()
        except BaseException:
            self.stop()
            raise

    def prepare(self) -> None:
        """Lay out what the server needs before its first start."""

    @abstractmethod
    def start(self) -> None:
        """Start the processes over `self.folder` and add them to `self.processes`."""

    def run(self, *command: str | Path) -> Process:
        process = Process(command, self.folder / "output.log")
        self.processes.append(process)
        return process

    def kill9(self) -> None:
        while self.processes:
            self.processes.pop().kill9()

    def restart(self) -> None:
        self.kill9()
        self._ready_bucket = None
        self.start()
        self.wait_until_serving()

    def stop(self) -> None:
        self.kill9()
        shutil.rmtree(self.folder, ignore_errors=True)

    def wait_until_serving(self) -> None:
        """An open port proves little: return when an object was stored and read back."""
        give_up = time.monotonic() + self.patience
        while not self._is_serving():
            ended = [process for process in self.processes if not process.is_running()]
            if ended or time.monotonic() > give_up:
                what = "ended" if ended else f"stored no object in {self.patience} s"
                raise ServerNotReadyError(f"{type(self).__name__} {what}; it said:\n{self.processes[0].last_words()}")
            time.sleep(0.1)

    def _is_serving(self) -> bool:
        from botocore.exceptions import BotoCoreError, ClientError

        body = uuid.uuid4().bytes
        client = self.client(attempts=1)
        try:
            if self._ready_bucket is None:
                self._ready_bucket = self.bucket()
            client.put_object(Bucket=self._ready_bucket, Key="ready", Body=body)
            return client.get_object(Bucket=self._ready_bucket, Key="ready")["Body"].read() == body
        except (BotoCoreError, ClientError):
            return False
        finally:
            client.close()


class GivenServer(S3Server):
    """A server that somebody else runs, and that the tests must not end."""

    def kill9(self) -> None:
        raise NotImplementedError("this server is not ours to kill")

    restart = kill9

    def stop(self) -> None:
        """Leave it running."""
