"""The slip in a package, `relay.toml`: what the folder's name does not say. It is for this site, and does not travel.

While its folder is being sent it bears a name of our own, which no package holds. Left inside, it would arrive at the
next site, whose own package it would then speak for.
"""

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from relay.errors import RefusedError
from relay.media.names import OURS
from relay.model import Frozen, Note
from relay.settings import first_fault
from relay.store.folder import in_our_words

SLIP = "relay.toml"
HIDDEN = f"{OURS}slip.toml"
_LIMIT = 64 * 1024  # bytes


class Slip(Frozen):
    """What a `relay.toml` may say; what it leaves out, the folder's name and the ledger say."""

    reel: str | None = None
    job: str | None = None
    note: Note = ""
    for_next: Note = ""
    start_mark: Annotated[int, Field(ge=0)] | None = None
    start_frame: int = 0


@contextmanager
def slip_of(folder: Path) -> Iterator[Slip]:
    """Give what the slip in `folder` says, and keep it out of what is sent meanwhile. Raises RefusedError."""
    visible, hidden = folder / SLIP, folder / HIDDEN
    if not visible.exists() and not hidden.exists():
        yield Slip()
        return
    with in_our_words(str(folder), f"set {SLIP} aside"):
        if visible.exists():
            visible.replace(hidden)
    try:
        yield _read(hidden)
    except BaseException:
        if not visible.exists():
            hidden.rename(visible)
        raise


def _read(path: Path) -> Slip:
    try:
        with path.open("rb") as file:
            return Slip.model_validate(tomllib.loads(file.read(_LIMIT).decode()))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(
            f"{SLIP} cannot be read: {first_fault(error)}. It may say reel, job, note, for_next and start_mark"
        ) from error
