"""The programs that carry a folder to a bucket and back: ours, and three that people use for it.

Each of the others is given what makes it fastest here. None of them hashes what it fetches; ours verifies all of it.
"""

import shutil
import sys
from abc import ABC, abstractmethod
from pathlib import Path

from tests.servers.s3 import S3Server

ROOT = Path(__file__).parents[3]
HANDS = 16


class ProgramMissingError(Exception):
    """Not installed here."""


def found(name: str) -> str:
    """Return where the program `name` is: in the environment that `make bench` makes, or on the path."""
    own = ROOT / ".venv-bench" / "bin" / name
    where = str(own) if own.exists() else shutil.which(name)
    if where is None:
        raise ProgramMissingError(f"no `{name}` found: `make bench` installs it")
    return where


class Program(ABC):
    """One way to carry a folder."""

    name: str
    syncs = False
    """Whether what it fetched is on the disk itself when it ends."""

    def __init__(self, server: S3Server, home: Path) -> None:
        self.server = server
        self.home = home

    def environment(self) -> dict[str, str]:
        return {
            "AWS_ACCESS_KEY_ID": self.server.access_key,
            "AWS_SECRET_ACCESS_KEY": self.server.secret_key,
            "AWS_DEFAULT_REGION": "us-east-1",
        }

    @abstractmethod
    def up(self, folder: Path, bucket: str) -> list[str]:
        """Return the command that carries `folder` into the empty `bucket`."""

    @abstractmethod
    def down(self, bucket: str, folder: Path) -> list[str]:
        """Return the command that carries the contents of `bucket` to `folder`, which is not there yet."""


class Ours(Program):
    name = "relay"
    syncs = True

    def __init__(self, server: S3Server, home: Path, hands: int = HANDS) -> None:
        super().__init__(server, home)
        self.hands = hands

    def up(self, folder: Path, bucket: str) -> list[str]:
        return self._run("send", folder, bucket)

    def down(self, bucket: str, folder: Path) -> list[str]:
        return self._run("fetch", folder, bucket)

    def _run(self, verb: str, folder: Path, bucket: str) -> list[str]:
        module = [sys.executable, "-m", "tests.bench.transfer.ours"]
        return [*module, verb, str(folder), self.server.endpoint, bucket, str(self.home / bucket), str(self.hands)]


class S5cmd(Program):
    name = "s5cmd"

    def up(self, folder: Path, bucket: str) -> list[str]:
        return [*self._start(), "cp", "--concurrency", "16", f"{folder}/", f"s3://{bucket}/"]

    def down(self, bucket: str, folder: Path) -> list[str]:
        return [*self._start(), "cp", "--concurrency", "16", f"s3://{bucket}/*", f"{folder}/"]

    def _start(self) -> list[str]:
        return [found("s5cmd"), "--endpoint-url", self.server.endpoint, "--log", "error", "--numworkers", "16"]


class Rclone(Program):
    name = "rclone"

    def environment(self) -> dict[str, str]:
        return {
            **super().environment(),
            "RCLONE_CONFIG": str(self.home / "rclone.conf"),
            "RCLONE_CONFIG_B_TYPE": "s3",
            "RCLONE_CONFIG_B_PROVIDER": "Other",
            "RCLONE_CONFIG_B_ENV_AUTH": "true",
            "RCLONE_CONFIG_B_ENDPOINT": self.server.endpoint,
            "RCLONE_S3_NO_CHECK_BUCKET": "true",
        }

    def up(self, folder: Path, bucket: str) -> list[str]:
        return [*self._start(), "--s3-upload-concurrency", "8", str(folder), f"b:{bucket}"]

    def down(self, bucket: str, folder: Path) -> list[str]:
        return [*self._start(), "--multi-thread-streams", "8", f"b:{bucket}", str(folder)]

    def _start(self) -> list[str]:
        return [found("rclone"), "copy", "--quiet", "--transfers", "16", "--checkers", "16"]


class Aws(Program):
    name = "aws"

    def environment(self) -> dict[str, str]:
        config = self.home / "aws.conf"
        config.write_text("[default]\ns3 =\n  max_concurrent_requests = 16\n  max_queue_size = 10000\n")
        return {**super().environment(), "AWS_CONFIG_FILE": str(config), "AWS_EC2_METADATA_DISABLED": "true"}

    def up(self, folder: Path, bucket: str) -> list[str]:
        return [*self._start(), str(folder), f"s3://{bucket}"]

    def down(self, bucket: str, folder: Path) -> list[str]:
        return [*self._start(), f"s3://{bucket}", str(folder)]

    def _start(self) -> list[str]:
        return [found("aws"), "--endpoint-url", self.server.endpoint, "s3", "cp", "--recursive", "--quiet"]


OTHERS: tuple[type[Program], ...] = (S5cmd, Rclone, Aws)
