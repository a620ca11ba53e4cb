"""Cut lists out of the packages of the store: a list is small, so its package is not fetched for it."""

from collections.abc import Iterable
from typing import NamedTuple

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.state import State, Version
from relay.media.manifest import PackedFile
from relay.media.package import kind_of
from relay.model import digest_of
from relay.programme.cutlist import CutList
from relay.programme.own_form import own_form
from relay.programme.reading import Ground, parse_programme, text_of
from relay.store.keys import object_key
from relay.transfer.desk import Desk


class Listed(NamedTuple):
    """A cut list, and the bytes that say the same to whoever reads them without being told how."""

    cut_list: CutList
    body: bytes


LIST_LIMIT = 64 * 1024 * 1024  # bytes
KINDS = frozenset({"edl", "otio", "toml"})


def parsed(body: bytes, state: State) -> Listed:
    """Return the list in a file's bytes, which speaks of the production's reels. Raises ValueError."""
    return listed_in(body, Ground(reels=tuple(state.film().reel_names())))


def listed_in(body: bytes, ground: Ground) -> Listed:
    """Return the list in a file's bytes. Raises ValueError.

    Where its reader was told what the list does not say, such as its rate, the bytes that are kept are our own form's,
    which says it.
    """
    cut_list = parse_programme(text_of(body), ground)
    is_plain = ground == Ground(reels=ground.reels)
    return Listed(cut_list, body if is_plain else own_form(cut_list).encode())


def list_among(desk: Desk, versions: Iterable[Version]) -> Listed:
    """Return the one cut list in these packages. Raises MissingError where there is none, RefusedError for several."""
    found = {listed.body: listed for version in versions for listed in _lists_in(desk, version)}
    if not found:
        raise MissingError("there is no cut list among what it was made from: name one, `relay conform VERSION LIST`")
    if len(found) > 1:
        raise RefusedError(f"there are {len(found)} cut lists among what it was made from: name one of them")
    return next(iter(found.values()))


def _lists_in(desk: Desk, version: Version) -> Iterable[Listed]:
    for file in desk.manifests.read(version.manifest).files:
        if kind_of(file.path) in KINDS and file.size <= LIST_LIMIT:
            body = _read(desk, version, file)
            try:
                yield parsed(body, desk.ledger.state)
            except ValueError:
                continue  # another paper


def _read(desk: Desk, version: Version, file: PackedFile) -> bytes:
    body = desk.store.read(object_key(file.digest))
    if digest_of(body) != file.digest:
        raise BrokenError(
            f"{desk.store.name}: {object_key(file.digest)} holds wrong bytes: see `relay mend {version.name}`"
        )
    return body
