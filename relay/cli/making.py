"""Files that commands write: what it means when one cannot be written."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from relay.errors import RefusedError


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Raise RefusedError where `path` cannot be written."""
    try:
        yield
    except OSError as error:
        raise RefusedError(f"{path} cannot be written ({error.strerror}): name another place") from error
