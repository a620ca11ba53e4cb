"""How a file comes to its name in a folder, once and whole: hidden and locked until it is on the disk, then linked.

A living writer holds a lock on its hidden file, so that what no one holds can be swept.
"""

import errno
import fcntl
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from relay.store.folder import sync

INCOMING = (".incoming",)
_LOCK = "lock"
_NO_LINKS_HERE = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS}


def is_taken(folder: int, leaf: str) -> bool:
    try:
        mode = os.stat(leaf, dir_fd=folder, follow_symlinks=False).st_mode
    except FileNotFoundError:
        return False
    if stat.S_ISREG(mode):
        return True
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, f"{leaf} is a folder, where a file was expected")
    raise OSError(errno.ELOOP, f"{leaf} is a link or a device, where a file was expected")


def published(incoming: int, part: str, folder: int, leaf: str) -> bool:
    """Give the file `part` its own name, unless that is taken."""
    try:
        os.link(part, leaf, src_dir_fd=incoming, dst_dir_fd=folder, follow_symlinks=False)
    except FileExistsError:
        return not is_taken(folder, leaf)
    except OSError as error:
        if error.errno not in _NO_LINKS_HERE:
            raise
        return _renamed_under_the_lock(incoming, part, folder, leaf)
    return True


def _renamed_under_the_lock(incoming: int, part: str, folder: int, leaf: str) -> bool:
    with locked(incoming):
        if is_taken(folder, leaf):
            return False
        os.rename(part, leaf, src_dir_fd=incoming, dst_dir_fd=folder)
    return True


@contextmanager
def written(incoming: int, body: bytes | bytearray | memoryview) -> Iterator[str]:
    """Write `body` to a hidden file that has reached the disk; it is gone again at the end, unless it was renamed."""
    with own_part(incoming) as (part, descriptor):
        rest = memoryview(body).cast("B")
        while rest:
            rest = rest[os.write(descriptor, rest) :]
        os.fchmod(descriptor, 0o444)
        sync(descriptor)
        yield part


@contextmanager
def own_part(incoming: int) -> Iterator[tuple[str, int]]:
    """Create a hidden file and lock it; it is gone again at the end."""
    part, descriptor = _created_and_locked(incoming)
    try:
        yield part, descriptor
    finally:
        try:
            with suppress(FileNotFoundError):
                os.unlink(part, dir_fd=incoming)
        finally:
            os.close(descriptor)


def _created_and_locked(incoming: int) -> tuple[str, int]:
    while True:
        part = f"{secrets.token_hex(8)}.part"
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o644, dir_fd=incoming)
        with suppress(OSError):  # a share without locks: then nothing is swept either
            fcntl.flock(descriptor, fcntl.LOCK_EX)
        if os.fstat(descriptor).st_nlink:
            return part, descriptor
        os.close(descriptor)  # a sweeper came between the two


def sweep(incoming: int) -> None:
    """Remove the hidden files that no living writer holds."""
    with os.scandir(incoming) as entries:
        parts = [entry.name for entry in entries if entry.name.endswith(".part")]
    for part in parts:
        with suppress(OSError):  # gone by now, held, or not ours: none of it is in the way
            descriptor = os.open(part, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC, dir_fd=incoming)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                os.unlink(part, dir_fd=incoming)
            finally:
                os.close(descriptor)


@contextmanager
def locked(incoming: int) -> Iterator[None]:
    """Hold the lock that every writer of this folder takes where the file system cannot decide alone."""
    descriptor = os.open(_LOCK, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o666, dir_fd=incoming)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)
