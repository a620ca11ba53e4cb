"""Takes old versions out of the bucket, after the closing export was verified again, and never before.

The ledger says first which versions go; then objects go that no kept version, no still and no report needs. Stopped
anywhere, the same call goes on. Manifests and records of what was done stay, so that it stays known what each version
was.
"""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.decision_state import Closing
from relay.ledger.decision_words import RETIRED_IN_ENTRY, VersionsRetired
from relay.ledger.state import State
from relay.model import Digest, VersionName, digest_of
from relay.store.folder import in_our_words
from relay.store.keys import object_key
from relay.transfer.closing import TAGS
from relay.transfer.desk import Desk
from relay.transfer.treatments import records_in


class Retired(NamedTuple):
    """What went."""

    versions: tuple[VersionName, ...]
    objects: int
    size: int
    """Bytes."""


def verify_export(folder: Path, closing: Closing) -> None:
    """Raise BrokenError unless every file of the bag at `folder` is as `closing` says, read again now."""
    with in_our_words(str(folder), "read it"):
        try:
            tags = (folder / TAGS).read_bytes()
        except FileNotFoundError as error:
            raise MissingError(f"{folder} is no closing export: it has no {TAGS}. Name the bag") from error
        if digest_of(tags) != closing.export:
            raise BrokenError(
                f"{folder} is not the export of entry {closing.entry}: its {TAGS} has the SHA-256 {digest_of(tags)}, "
                f"expected {closing.export}. Name the export of the newest closing, or close again"
            )
        _check_files(folder, tags)
        _check_files(folder, (folder / "manifest-sha256.txt").read_bytes())


def _check_files(folder: Path, manifest: bytes) -> None:
    for line in manifest.decode().splitlines():
        digest, _, name = line.partition("  ")
        path = folder / name.replace("%0A", "\n").replace("%0D", "\r").replace("%25", "%")
        found = _digest_of_file(path) if path.is_file() else "nothing"
        if found != digest:
            raise BrokenError(
                f"{path}: found {found}, expected {digest}. The export is damaged: nothing was retired; close again"
            )


def _digest_of_file(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def retirable(state: State) -> tuple[VersionName, ...]:
    """Return the versions that may go after the newest closing. Raises RefusedError before there is one."""
    closing = newest_closing(state)
    return tuple(
        version.name
        for version in state.versions.values()
        if version.retired is None and version.name not in closing.finals and version.entry < closing.entry
    )


def newest_closing(state: State) -> Closing:
    """Return the newest closing. Raises RefusedError where there is none."""
    if not state.closings:
        raise RefusedError("the production was never closed: `relay export close` first, and keep what it writes")
    return state.closings[-1]


def retire(desk: Desk, bag: Path, versions: Sequence[VersionName], reason: str) -> Retired:
    """Verify the export at `bag`, say that `versions` are retired, and remove what only retired versions need."""
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    closing = newest_closing(state)
    verify_export(bag, closing)
    going = [name for name in versions if state.versions[name].retired is None]
    for at in range(0, len(going), RETIRED_IN_ENTRY):
        some = tuple(going[at : at + RETIRED_IN_ENTRY])
        word = VersionsRetired(closing=closing.entry, versions=some, reason=reason)
        desk.ledger.insist(desk.pen, lambda _state, _now, word=word: [word])  # type: ignore[misc]
    removed = list(_removed(desk, desk.ledger.state))
    return Retired(tuple(going), len(removed), sum(removed))


def _removed(desk: Desk, state: State) -> Iterator[int]:
    """Remove what only retired versions need; yield each object's size."""
    needed = _needed(desk, state)
    for version in state.versions.values():
        if version.retired is None:
            continue
        for digest, size in desk.manifests.read(version.manifest).objects().items():
            if digest not in needed and desk.store.size(object_key(digest)) is not None:
                desk.store.discard(object_key(digest))
                yield size


def _needed(desk: Desk, state: State) -> set[Digest]:
    """Return the objects that stay."""
    needed = {kept.object for kept in state.material}
    for version in state.versions.values():
        needed |= {version.manifest, *records_in(desk.manifests.read(version.manifest))}
        for look in version.inspections:
            needed |= {each for each in (look.report, look.sheet, look.strip, look.thumbnails) if each}
        for check in version.conforms:
            needed |= {check.cut_list, check.report}
        if version.retired is None:
            needed |= desk.manifests.read(version.manifest).objects().keys()
    return needed | {each.crops for each in state.comparisons if each.crops}
