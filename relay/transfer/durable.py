"""Brings what was written to the disk itself, the cheapest way there is. See docs/decisions/durable-landing.md."""

import ctypes
import os
from collections.abc import Iterable
from functools import partial
from pathlib import Path

from relay.store.folder import sync
from relay.transfer.hands import do_all

_LIBC = ctypes.CDLL(None, use_errno=True)

# From linux/magic.h. On these, syncfs(2) waits for the data, and the drive's cache is emptied.
_EXT4, _XFS, _BTRFS = 0xEF53, 0x58465342, 0x9123683E
_SYNCED_WHOLE = frozenset({_EXT4, _XFS, _BTRFS})
_CLONES = frozenset({_XFS, _BTRFS})

_TELLS_ERRORS = (5, 8)  # the first Linux whose syncfs(2) answers with the write errors that it met
_START_WRITING = 2  # SYNC_FILE_RANGE_WRITE
_WORTH_STARTING = 1024 * 1024  # bytes
_HANDS = 16  # files synced at a time, where each is synced by itself


class Syncing:
    """Brings what is written under one folder to the disk: large pieces are begun at once, the rest at the end."""

    def __init__(self, folder: Path) -> None:
        # Opened before anything is written: syncfs tells of the write errors since then, and of no others.
        self._descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        disk = _kind_of_disk(folder)
        self._all_at_once = disk in _SYNCED_WHOLE and _syncfs_tells_errors()
        self.disk_clones = disk in _CLONES

    def close(self) -> None:
        os.close(self._descriptor)

    def start(self, descriptor: int, offset: int, size: int) -> None:
        """Let the disk begin with `size` bytes of an open file, so that less is left to wait for at the end."""
        if self._all_at_once and size >= _WORTH_STARTING:
            _LIBC.sync_file_range(descriptor, ctypes.c_int64(offset), ctypes.c_int64(size), _START_WRITING)

    def finish(self, files: Iterable[Path], folders: Iterable[Path]) -> None:
        """Return when every one of `files` and `folders` is on the disk. Raises OSError when the disk failed at it."""
        if self._all_at_once:
            if _LIBC.syncfs(self._descriptor) != 0:
                number = ctypes.get_errno()
                raise OSError(number, os.strerror(number))
            return
        do_all((partial(sync_file, file) for file in files), _HANDS)
        for folder in folders:
            sync_folder(folder)


def sync_file(path: Path) -> None:
    """Return when the file's bytes are on the disk; on macOS in the drive, whose cache a folder's sync then empties."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_folder(path: Path) -> None:
    """Return when the names in the folder are on the disk."""
    descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        sync(descriptor)
    finally:
        os.close(descriptor)


def _syncfs_tells_errors() -> bool:
    release = tuple(int(part) for part in os.uname().release.split("-")[0].split(".")[:2] if part.isdigit())
    return hasattr(_LIBC, "syncfs") and hasattr(_LIBC, "sync_file_range") and release >= _TELLS_ERRORS


def _kind_of_disk(folder: Path) -> int:
    answer = (ctypes.c_long * 64)()  # struct statfs has 120 bytes; its first word is the kind
    if _LIBC.statfs(os.fsencode(folder), answer) != 0:
        return 0
    return answer[0] & 0xFFFFFFFF
