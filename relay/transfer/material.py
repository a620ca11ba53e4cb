"""Stills and papers that are no part of a package: one object each in the store, tied to what they are about."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.state import Material, State
from relay.ledger.words import MaterialKept, Word
from relay.media.manifest import WHOLE_LIMIT
from relay.media.names import check_part
from relay.model import FrameRange, digest_of
from relay.store.folder import in_our_words
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.sender import Sender


@dataclass(frozen=True)
class About:
    """What a still or paper is about: an element, a reel of it, or frames of that."""

    code: str
    """`A` or `A/R03`."""
    frames: tuple[FrameRange, ...] = ()


def keep(desk: Desk, file: Path, about: About, note: str = "") -> Material:
    """Put a file into the store and say what it is about. The same file about the same thing is kept once.

    Raises RefusedError for what is no element or reel of the production, or a file of more than 128 MiB.
    """
    return keep_paper(desk, file.name, _read(file), about, note)


def keep_paper(desk: Desk, name: str, body: bytearray, about: About, note: str = "") -> Material:
    """Put the bytes of a still or a paper called `name` into the store and say what it is about, once.

    Raises RefusedError for what is no element or reel of the production.
    """
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    digest = digest_of(body)
    word = MaterialKept(about=about.code, frames=about.frames, name=name, object=digest, size=len(body), note=note)
    _check_name(name)
    Sender(desk.store, desk.notebook, frozenset()).put(digest, memoryview(body), name)

    def decide(now: State, _now: datetime) -> list[Word] | None:
        return None if _same(now, word) else [word]

    desk.ledger.append(desk.pen, decide)
    kept = _same(desk.ledger.state, word)
    if kept is None:
        raise RefusedError(f"{name} could not be tied to {about.code}: look at `relay ledger show`")
    return kept


def _same(state: State, word: MaterialKept) -> Material | None:
    said = (word.about, word.frames, word.object)
    return next((each for each in state.material if (each.about, each.frames, each.object) == said), None)


def _read(file: Path) -> bytearray:
    if not file.is_file():
        raise MissingError(f"{file} is not a file: name the still or paper to keep")
    with in_our_words(str(file), "read it"):
        size = file.stat().st_size
        if not 0 < size <= WHOLE_LIMIT:
            raise RefusedError(f"{file} has {size} bytes: expected 1 to {WHOLE_LIMIT}. Send larger things as a package")
        return bytearray(file.read_bytes())


def _check_name(name: str) -> None:
    try:
        check_part(name)
    except ValueError as fault:
        raise RefusedError(f"{name!r} cannot be kept under that name: {fault}. Rename it first") from fault


def write_out(desk: Desk, material: Material, folder: Path) -> Path:
    """Write one still or paper into `folder`, verified, under its own name. Raises RefusedError where that is taken."""
    _check_name(material.name)
    target = folder / material.name
    buffer = memoryview(bytearray(material.size))
    found = desk.store.read_into(object_key(material.object), buffer)
    if found != material.size or digest_of(buffer) != material.object:
        raise BrokenError(
            f"{desk.store.name}: the object of {material.name} holds wrong bytes; entry {material.entry} says who kept "
            "it: let them keep it again after the object was removed by whoever looks after the store"
        )
    with in_our_words(str(target), "write it"):
        try:
            with target.open("xb") as file:
                file.write(buffer)
        except FileExistsError as error:
            raise RefusedError(f"{target} exists: name another folder") from error
    return target
