"""Folders of tests in memory, where there is room: commands sync many times, and the disk is not what is looked at.

Where it is, they stay on the disk: tests of stores, transfers and crashes, and the main job.
"""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

MEMORY = Path("/dev/shm")
ROOM = 4 * 2**30  # bytes; a container often has 64 MB there


def has_room() -> bool:
    return MEMORY.is_dir() and min(shutil.disk_usage(MEMORY).free, _available()) > ROOM


def _available() -> int:
    """Return how many bytes programs may still ask for: proc(5), meminfo."""
    told = dict(line.split(":") for line in Path("/proc/meminfo").read_text().splitlines())
    return int(told["MemAvailable"].split()[0]) * 1024


@pytest.fixture(scope="session")
def tmp_path_factory(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[pytest.TempPathFactory]:
    """What `tmp_path` is made with, too. After a failure what is left comes to where pytest leaves such things."""
    if not has_room():
        yield tmp_path_factory
        return
    with tempfile.TemporaryDirectory(prefix="relay-", dir=MEMORY, ignore_cleanup_errors=True) as folder:
        trace = request.config.trace.get("tmpdir")
        yield pytest.TempPathFactory(Path(folder) / "of_tests", 1, "failed", trace, _ispytest=True)
        if request.session.testsfailed:
            shutil.copytree(folder, tmp_path_factory.mktemp("in_memory"), symlinks=True, dirs_exist_ok=True)
