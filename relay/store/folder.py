"""Folders opened one step at a time, never through a symbolic link, and what the disk says put into our words."""

import errno
import fcntl
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from relay.errors import BrokenError, MissingError, RefusedError, RelayError, TransientError

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC

_FULL = {errno.ENOSPC, errno.EDQUOT}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
_IN_THE_WAY = {errno.EEXIST, errno.ENOTDIR, errno.EISDIR, errno.ENAMETOOLONG, errno.ENOTEMPTY}
_DAMAGED = {errno.EIO, errno.ELOOP}


def sync(descriptor: int) -> None:
    """Return when what was written to the file or folder has reached the disk itself."""
    whole_way = getattr(fcntl, "F_FULLFSYNC", None)  # macOS: fsync alone stops at the drive's own cache
    if whole_way is None:
        os.fsync(descriptor)
    else:
        fcntl.fcntl(descriptor, whole_way)


@contextmanager
def in_our_words(store: str, doing: str) -> Iterator[None]:
    """Translate what the operating system refuses into the family that says what to do about it."""
    try:
        yield
    except OSError as error:
        raise _translated(error, f"{store}: cannot {doing}: {error.strerror or error}") from error


def _translated(error: OSError, what: str) -> RelayError:
    if error.errno in _FULL:
        # The request is fine, and the same call works once there is room: what a full bucket answers, too.
        return TransientError(f"{what}. Nothing was half-written. Make room there, then run the same command again.")
    if error.errno in _FORBIDDEN:
        return RefusedError(f"{what}. Ask for the right to do this there, or name a folder where you have it.")
    if error.errno in _IN_THE_WAY:
        return RefusedError(f"{what}. A file or a folder of that name is in the way: look there, and move it.")
    if error.errno in _DAMAGED:
        return BrokenError(f"{what}. The disk is failing or someone altered the folder: call whoever looks after it.")
    return TransientError(f"{what}. Try again; if it stays so, look at the disk or the share.")


@contextmanager
def opened(root: Path, parts: Sequence[str] = ()) -> Iterator[int]:
    """Open the folder `parts` under `root`. Raises MissingError without a root, FileNotFoundError without the rest."""
    descriptor = _opened_root(root)
    try:
        for part in parts:
            descriptor = _exchanged(descriptor, part)
        yield descriptor
    finally:
        os.close(descriptor)


def grow(root: Path, parts: Sequence[str]) -> None:
    """Make the folder `parts` under `root`, where it is not there yet, so that it outlasts a power cut."""
    for count, part in enumerate(parts):
        with opened(root, parts[:count]) as parent:
            with suppress(FileExistsError):
                os.mkdir(part, dir_fd=parent)
            sync(parent)  # also where it was there: whoever made it may not have come so far yet


def _opened_root(root: Path) -> int:
    try:
        return os.open(root, _FOLDER & ~os.O_NOFOLLOW)
    except (FileNotFoundError, NotADirectoryError) as error:
        raise MissingError(
            f"There is no folder {root}, where a store was expected. Is the drive connected, the share mounted? "
            "Is the address right?"
        ) from error


def _exchanged(parent: int, part: str) -> int:
    """Return the folder `part` of `parent`, which is closed where that succeeds."""
    try:
        child = os.open(part, _FOLDER, dir_fd=parent)
    except NotADirectoryError as error:
        if is_link(parent, part):
            raise OSError(errno.ELOOP, f"{part} is a symbolic link, where a folder was expected") from error
        raise
    os.close(parent)
    return child


def is_link(parent: int, name: str) -> bool:
    """Answer whether `name` in the open folder `parent` is a symbolic link."""
    try:
        os.readlink(name, dir_fd=parent)
    except OSError:
        return False
    return True
