"""The treatment records of packages: looked at before anything is sent, and read again from the store."""

from collections.abc import Collection
from pathlib import Path

from relay.errors import BrokenError, RefusedError
from relay.ledger.state import State, Version
from relay.media.compare import Scanned, compare
from relay.media.manifest import Manifest
from relay.media.treatment import LIMIT, NAMES, Treatment, parse_treatment
from relay.model import Digest, FrameRange, VersionName, digest_of, merged, without
from relay.store.folder import in_our_words
from relay.store.keys import object_key
from relay.store.port import Store
from relay.transfer.manifests import Manifests


def check_treatment(folder: Path, files: Collection[str]) -> None:
    """Raise RefusedError where a folder's treatment record cannot be read: its site can put it right now."""
    named = [name for name in NAMES if name in files]
    if len(named) > 1:
        raise RefusedError(f"{folder} holds {' and '.join(named)}: expected one record of what was done. Take one out")
    for name in named:
        path = folder / name
        with in_our_words(str(path), "read it"):
            body = path.read_bytes() if path.stat().st_size <= LIMIT else bytes(LIMIT + 1)
        try:
            parse_treatment(name, body)
        except ValueError as fault:
            raise RefusedError(f"{fault}. Put it right in {folder}, then send again; nothing was sent") from fault


def records_in(manifest: Manifest) -> set[Digest]:
    """Return the objects in which a package says what was done to it."""
    return {chunk.digest for file in manifest.files if file.path in NAMES for chunk in file.objects()}


def treatment_of(store: Store, manifests: Manifests, version: Version) -> Treatment | None:
    """Return what a version's site says was done to it; None where it says nothing. Raises BrokenError."""
    files = manifests.read(version.manifest).by_path
    file = next((files[name] for name in NAMES if name in files), None)
    if file is None or file.size > LIMIT:
        return None
    body = store.read(object_key(file.digest), LIMIT)
    if digest_of(body) != file.digest:
        raise BrokenError(
            f"{store.name}: {object_key(file.digest)} holds wrong bytes: `relay mend {version.name} FOLDER` can put it "
            "right with a good copy"
        )
    try:
        return parse_treatment(file.path, body)
    except ValueError:
        return None  # it came from a site whose Relay did not look; the version itself stands


def undocumented(
    manifests: Manifests, state: State, version: Version, told: Treatment | None
) -> tuple[FrameRange, ...]:
    """Return the frames that differ from the parent's of the same reel and that no step names."""
    parent = next((state.versions[name] for name in version.parents if _is_same_reel(name, version.name)), None)
    if parent is None or version.scan_map is None or parent.scan_map is None:
        return ()
    one, two = (Scanned(manifests.read(each.manifest), each.scan_map) for each in (parent, version) if each.scan_map)
    named = told.touched() if told else ()
    if named is None:
        return ()
    return without(compare(one, two).changed, merged((each.first, each.last) for each in named))


def _is_same_reel(one: VersionName, two: VersionName) -> bool:
    return one.rpartition("/")[0] == two.rpartition("/")[0]
