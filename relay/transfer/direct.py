"""Large pieces written past the system's memory, straight to the disk. See docs/decisions/durable-landing.md."""

import ctypes
import errno
import fcntl
import os

from relay.transfer.tree import pwrite_all

_LIBC = ctypes.CDLL(None, use_errno=True)
_DIRECT = getattr(os, "O_DIRECT", 0)
_BLOCK = 4096  # bytes; what disks want such writes to start at and to be multiples of
_WORTH_IT = 1024 * 1024  # bytes
_CANNOT = {errno.EINVAL, errno.EOPNOTSUPP}


def write_straight(descriptor: int, body: memoryview, offset: int) -> None:
    """Write all of `body` from `offset` bytes on, its whole blocks straight to the disk where the system can do that.

    It is not durable by that alone: the file's own record, and the drive's cache, still need a sync.
    """
    whole = len(body) // _BLOCK * _BLOCK if offset % _BLOCK == 0 and len(body) >= _WORTH_IT else 0
    done = _written_straight(descriptor, body[:whole], offset) if whole else 0
    pwrite_all(descriptor, body[done:], offset + done)


def _written_straight(descriptor: int, body: memoryview, offset: int) -> int:
    """Write as much of `body` as goes straight to the disk; return how many bytes that are."""
    flags = fcntl.fcntl(descriptor, fcntl.F_GETFL)
    done = 0
    try:
        fcntl.fcntl(descriptor, fcntl.F_SETFL, flags | _DIRECT)
        while done < len(body) and done % _BLOCK == 0:
            done += os.pwrite(descriptor, body[done:], offset + done)
    except OSError as fault:
        if fault.errno not in _CANNOT:
            raise
    finally:
        fcntl.fcntl(descriptor, fcntl.F_SETFL, flags)
    return done


def set_aside(descriptor: int, size: int) -> None:
    """Give the file `size` bytes, and room for them where the disk can promise that without writing them."""
    os.ftruncate(descriptor, size)
    if not hasattr(_LIBC, "fallocate64") or size == 0:
        return
    # Not posix_fallocate: where the disk cannot, that writes into every block, over what others write meanwhile.
    if _LIBC.fallocate64(descriptor, 0, ctypes.c_int64(0), ctypes.c_int64(size)) != 0:
        number = ctypes.get_errno()
        if number in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}:
            raise OSError(number, os.strerror(number))
