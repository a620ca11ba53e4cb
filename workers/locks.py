"""Locks that two processes of one site share: held until let go, or until whoever holds one is gone."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from relay.errors import RefusedError


@contextmanager
def held(path: Path, *, tidy: bool = False) -> Iterator[bool]:
    """Hold the lock at `path` if it is free: True; False where someone else holds it, in this process or another.

    With `tidy`, no file is left behind by whoever held it. Raises RefusedError where none can be made.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = _locked(path)
    except OSError as error:
        raise RefusedError(f"{path} cannot be made ({error.strerror}): make room, or mend the permissions") from error
    try:
        yield descriptor is not None
    finally:
        if descriptor is not None:
            if tidy:
                path.unlink(missing_ok=True)
            os.close(descriptor)


def _locked(path: Path) -> int | None:
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(descriptor)
            return None
        with suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(descriptor), path.stat()):
                return descriptor
        os.close(descriptor)  # whoever held it before took the file away between the two
