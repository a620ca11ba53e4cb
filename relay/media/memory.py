"""Files that lie in memory alone, shared with a child or given to a reader that wants a path; and bounds on memory."""

import os
import resource
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def shared_file(size: int) -> int:
    """Return an open file without a name, of `size` bytes: in memory where the system can."""
    if hasattr(os, "memfd_create"):
        handle = os.memfd_create("relay-frame")
    else:
        with tempfile.TemporaryFile() as file:
            handle = os.dup(file.fileno())
    os.ftruncate(handle, size)
    return handle


@contextmanager
def in_memory(body: bytes) -> Iterator[str]:
    """Give a path under which `body` can be opened meanwhile."""
    handle = shared_file(0)
    try:
        with os.fdopen(handle, "wb", closefd=False) as file:
            file.write(body)
        yield f"/dev/fd/{handle}"
    finally:
        os.close(handle)


def address_space() -> int:
    """Return how many bytes of addresses this process takes now; 0 where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except OSError:
        return 0


def limit_to(size: int) -> None:
    """Let this process take no more than `size` bytes of addresses."""
    if sys.platform == "linux":  # others do not hold a process to it
        resource.setrlimit(resource.RLIMIT_AS, (size, resource.RLIM_INFINITY))
