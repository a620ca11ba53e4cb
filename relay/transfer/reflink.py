"""Clones: a copy that shares its blocks with the first file until one of them is written to; never a second name."""

import errno
import fcntl
import struct
import sys

_FICLONERANGE = 0x4020940D  # linux/fs.h, _IOW(0x94, 13, struct file_clone_range)
_CANNOT = {errno.EOPNOTSUPP, errno.ENOTTY, errno.EXDEV, errno.EINVAL, errno.ENOSYS, errno.EPERM, errno.ETXTBSY}


def cloned(source: int, offset: int, size: int, onto: int, at: int) -> bool:
    """Let `size` bytes of `source` from `offset` stand in `onto` from `at` on, too; False where the disk cannot."""
    if not sys.platform.startswith("linux") or size == 0:
        return False
    try:
        fcntl.ioctl(onto, _FICLONERANGE, struct.pack("=qQQQ", source, offset, size, at))
    except OSError as fault:
        if fault.errno in _CANNOT:
            return False
        raise
    return True
