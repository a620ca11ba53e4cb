"""Small disks of their own, mounted for a test, so that one can be full, read-only, cloned on, or cut from its power.

Mounting takes root and loop devices; where there are none, the test is skipped and says so.
"""

import os
import subprocess
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest

# The least that each will be made with; files are sparse, so it costs little.
SIZES = {"ext4": 64 * 2**20, "xfs": 320 * 2**20}  # bytes

_OPTIONS = {"ext4": ("-q", "-F"), "xfs": ("-q", "-f", "-m", "reflink=1")}


class CannotMountError(Exception):
    """There is no such disk to be had here."""


def _run(*command: str | Path) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    except FileNotFoundError as error:
        raise CannotMountError(f"{command[0]} is not installed") from error
    if done.returncode:
        raise CannotMountError(f"{' '.join(map(str, command))}: {done.stderr.strip()}")


@contextmanager
def mounted(at: Path, *how: str | Path) -> Iterator[Path]:
    """Mount something at the folder `at` and take it off again."""
    if os.geteuid() != 0:
        raise CannotMountError("only root may mount")
    at.mkdir(exist_ok=True)
    _run("mount", *how, at)
    try:
        yield at
    finally:
        if subprocess.run(["umount", at], check=False).returncode:
            subprocess.run(["umount", "-l", at], check=True)  # something of a failed test is still open there


def memory_disk(at: Path, size: int) -> AbstractContextManager[Path]:
    """A disk in memory that holds `size` bytes."""
    return mounted(at, "-t", "tmpfs", "-o", f"size={size}", "tmpfs")


def formatted(image: Path, kind: str, size: int | None = None) -> Path:
    """Make `image` a disk of that kind, empty."""
    size = size or SIZES[kind]
    image.unlink(missing_ok=True)
    with image.open("wb") as file:
        file.truncate(size)
    _run(f"mkfs.{kind}", *_OPTIONS[kind], image)
    return image


@contextmanager
def own_disk(folder: Path, kind: str, size: int | None = None) -> Iterator[Path]:
    """A disk of that kind in a file, mounted."""
    with mounted(folder / f"{kind}-disk", "-o", "loop", formatted(folder / f"{kind}.img", kind, size)) as at:
        yield at


@contextmanager
def or_skip() -> Iterator[None]:
    """Skip the test where a disk cannot be had."""
    try:
        yield
    except CannotMountError as error:
        pytest.skip(f"no disk of its own for this test: {error}")
