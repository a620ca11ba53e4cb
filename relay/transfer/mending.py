"""Mends what went bad in the store from a good copy at this site, and says so in the ledger.

What is about to be mended is written down in the site's home first: killed between the mending and the entry, the same
command finds it there and says it then.
"""

from functools import cache
from pathlib import Path
from typing import NamedTuple

from pydantic import TypeAdapter, ValidationError

from relay.errors import RefusedError
from relay.ledger.owed import findings
from relay.ledger.state import Role, State, Version
from relay.ledger.words import ObjectMended, Word
from relay.media.manifest import Manifest
from relay.model import Digest, DigestField, Frozen, VersionName, digest_of
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.faults import Fault, What, Where
from relay.transfer.mend import mend
from relay.transfer.progress import UNWATCHED, Watcher

WORDS_AT_ONCE = 1000


class MendedVersion(NamedTuple):
    """What was put right, and which entry says so."""

    version: VersionName
    objects: tuple[Digest, ...]
    entry: int | None
    looked_at: int
    """Files; a mending without `everything` looks at none where no receipt names any."""


class _Owed(Frozen):
    object: DigestField
    found: DigestField | None


@cache
def _owed_lines() -> TypeAdapter[tuple[_Owed, ...]]:
    return TypeAdapter(tuple[_Owed, ...])


def mend_version(
    desk: Desk, name: str, folder: Path, *, everything: bool = False, watcher: Watcher = UNWATCHED
) -> MendedVersion:
    """Replace the bad objects of a version from `folder`: those that receipts name, or whichever turn out bad.

    Raises RefusedError when this site may not mend, or when `folder` does not hold a good copy.
    """
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    _check_may_mend(state, desk)
    version = state.version(name)
    manifest = desk.manifests.read(version.manifest)
    faults = _all(manifest) if everything else _told(version)
    watcher.expect(len(faults), sum(manifest.by_path[f.path].size for f in faults if f.path in manifest.by_path))
    owed = {**_read_owed(desk, version), **{f.expected: f.found for f in faults if f.expected and not everything}}
    _write_owed(desk, version, owed)
    mended = {each.digest: each.bad for each in mend(desk.store, manifest, folder, faults)}
    mended |= _manifest_mended(desk, manifest)
    said = mended | _left_unsaid(desk, state, owed, mended)
    entry = _say(desk, version, said)
    _owed_file(desk, version).unlink(missing_ok=True)
    return MendedVersion(version.name, tuple(sorted(said)), entry, len({fault.path for fault in faults}))


def _check_may_mend(state: State, desk: Desk) -> None:
    site = state.film().site(desk.site)
    if not (state.signer(desk.site, Role.COORDINATOR) or (site and site.mends)):
        able = [each.name for each in state.film().sites if each.mends]
        raise RefusedError(
            f"{desk.site} may not mend. {', '.join([state.film().coordinator, *able])} may: send them the good copy, "
            "or let the coordinator give this site `mends` in the production's file"
        )


def _told(version: Version) -> list[Fault]:
    """Return what each site last found wrong in the bucket."""
    return [
        Fault(fault.path, What(fault.what), Where(fault.where), fault.expected, fault.found, fault.detail)
        for _, faults in findings(version)
        for fault in faults
    ]


def _all(manifest: Manifest) -> list[Fault]:
    return [Fault(file.path, What.CHANGED, Where.BUCKET, file.digest) for file in manifest.files]


def _manifest_mended(desk: Desk, manifest: Manifest) -> dict[Digest, Digest | None]:
    key, digest = object_key(manifest.digest()), manifest.digest()
    size = desk.store.size(key)
    if size is None:
        desk.store.create(key, manifest.encode(), digest)
        return {digest: None}
    bad = digest_of(desk.store.read(key))
    if bad != digest and desk.store.replace(key, manifest.encode(), digest, bad):
        return {digest: bad}
    return {}


def _left_unsaid(
    desk: Desk, state: State, owed: dict[Digest, Digest | None], mended: dict[Digest, Digest | None]
) -> dict[Digest, Digest | None]:
    """Return what a run that was killed had mended already and not said."""
    said = {mending.object for mending in state.mendings}
    return {
        digest: found
        for digest, found in owed.items()
        if digest not in mended and digest not in said and found is not None and _is_whole(desk, digest)
    }


def _is_whole(desk: Desk, digest: Digest) -> bool:
    key = object_key(digest)
    return desk.store.size(key) is not None and digest_of(desk.store.read(key)) == digest


def _say(desk: Desk, version: Version, mended: dict[Digest, Digest | None]) -> int | None:
    words: list[Word] = [
        ObjectMended(object=digest, found=found, version=version.name) for digest, found in sorted(mended.items())
    ]
    entry = None
    for start in range(0, len(words), WORDS_AT_ONCE):
        entry = desk.ledger.insist(desk.pen, lambda _state, _now, at=start: words[at : at + WORDS_AT_ONCE])  # type: ignore[misc]
    return entry.sequence if entry else None


def _owed_file(desk: Desk, version: Version) -> Path:
    return desk.owed / f"{version.name.replace('/', '_')}.json"


def _read_owed(desk: Desk, version: Version) -> dict[Digest, Digest | None]:
    try:
        return {each.object: each.found for each in _owed_lines().validate_json(_owed_file(desk, version).read_bytes())}
    except (OSError, ValidationError):
        return {}


def _write_owed(desk: Desk, version: Version, owed: dict[Digest, Digest | None]) -> None:
    try:
        desk.owed.mkdir(exist_ok=True)
        lines = tuple(_Owed(object=digest, found=found) for digest, found in owed.items())
        _owed_file(desk, version).write_bytes(_owed_lines().dump_json(lines))
    except OSError as error:
        raise RefusedError(f"{desk.owed} cannot be written ({error.strerror}): nothing was mended") from error
