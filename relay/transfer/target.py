"""Where a folder is to appear, and the hidden one beside it in which it gathers, held by one run at a time."""

import fcntl
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from relay.errors import MissingError, RefusedError, TransientError
from relay.media.names import OURS, PART_LIMIT
from relay.model import digest_of
from relay.store.folder import in_our_words

INCOMING = f"{OURS}incoming-"

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC


def resolved(target: Path) -> Path:
    """Return `target` with no link above its own name. Raises MissingError when the folder for it is not there."""
    if target.name in {"", ".."}:
        raise RefusedError(f"{str(target)!r} does not name a new folder: give the name that it is to have.")
    try:
        return target.parent.resolve(strict=True) / target.name
    except (FileNotFoundError, NotADirectoryError) as fault:
        raise MissingError(
            f"There is no folder {target.parent}, where {target.name} was to land. Is the drive connected? "
            "If it is to be a new folder, make it first."
        ) from fault


def hidden_beside(target: Path) -> Path:
    """Return the hidden folder for `target`: on the same disk, so that one rename gives it its final name."""
    name = INCOMING + target.name
    if len(os.fsencode(name)) > PART_LIMIT:
        name = INCOMING + digest_of(os.fsencode(target.name))
    return target.with_name(name)


def check_free(target: Path) -> None:
    """Refuse a target where something lies already; an empty folder is nothing."""
    with in_our_words(str(target), "look at it"):
        if is_taken(target):
            raise in_the_way(target)


def is_taken(target: Path) -> bool:
    """Answer whether anything but an empty folder lies at `target`."""
    try:
        is_folder = stat.S_ISDIR(target.lstat().st_mode)
    except FileNotFoundError:
        return False
    return not is_folder or any(target.iterdir())


def in_the_way(target: Path, why: str = "") -> RefusedError:
    """Return the sentence for a target that is taken."""
    reason = f" ({why})" if why else ""
    return RefusedError(
        f"Something lies at {target} already, and it is not what was to land there{reason}. Nothing was changed. "
        "Give another name, or move it away first."
    )


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Make the hidden folder, unless it is there from an earlier run, and keep every other run out of it."""
    with in_our_words(str(folder), "make the hidden folder in which the files gather"):
        descriptor = _opened_locked(folder)
    try:
        yield
    finally:
        os.close(descriptor)


def _opened_locked(folder: Path) -> int:
    while True:
        folder.mkdir(exist_ok=True)
        descriptor = os.open(folder, _FOLDER)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as fault:
            os.close(descriptor)
            raise TransientError(
                f"Another run is filling {folder} just now: wait until it has ended, then run the same command again."
            ) from fault
        except OSError:
            return descriptor  # a share that locks no folders; the lock is there for two runs on one machine
        with suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(descriptor), folder.lstat()):
                return descriptor
        os.close(descriptor)  # it was renamed to its target between the two
