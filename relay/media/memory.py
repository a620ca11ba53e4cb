"""Files that lie in memory alone: shared with a child, or given to a reader that takes nothing but a path."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager


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
