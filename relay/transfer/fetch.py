"""Brings a package from a store into a folder: every byte verified, and the folder there whole or not at all.

An object is read into memory, hashed there, and written only when it is what its name says. It is looked for where
it costs least: in what an earlier run of the same fetch left behind, in earlier versions at this site, in the store.
What an earlier run left is read and hashed again, since that run may have been killed in the midst of a write.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from relay.clock import SYSTEM_CLOCK, Clock
from relay.media.manifest import Manifest, PackedFile
from relay.store.folder import in_our_words
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.earlier import Supply
from relay.transfer.faults import Fault
from relay.transfer.fetching import Fetching
from relay.transfer.hands import do_all
from relay.transfer.landing import landing
from relay.transfer.notebook import Hashed, Notebook, Stamp, stamp_of
from relay.transfer.progress import UNWATCHED, Onlooker, Watcher
from relay.transfer.target import in_the_way, is_taken, resolved
from relay.transfer.tree import tree
from relay.transfer.verify import verify

HANDS = 16  # objects at a time


@dataclass(frozen=True)
class Fetched:
    """What arrived, and what it took."""

    target: Path
    faults: tuple[Fault, ...]
    """What is wrong, by path; nothing lies at `target` unless this is empty."""
    fetched_objects: int = 0
    fetched_bytes: int = 0
    reused_bytes: int = 0
    """From earlier versions at this site."""
    kept_bytes: int = 0
    """From an earlier run of this fetch."""

    @property
    def whole(self) -> bool:
        """Whether all is there, verified."""
        return not self.faults


def fetch(
    manifest: Manifest,
    store: Store,
    target: Path,
    notebook: Notebook,
    *,
    hands: int = HANDS,
    earlier: Mapping[Path, Manifest] | None = None,
    watcher: Watcher = UNWATCHED,
    budget: Budget | None = None,
    clock: Clock = SYSTEM_CLOCK,
    onlooker: Onlooker | None = None,
) -> Fetched:
    """Bring the files of `manifest` to `target`, which appears only when every byte of it was verified.

    `earlier` are folders at this site with the manifests of what they hold. Objects that are wrong or missing in the
    store are listed, and the rest is fetched all the same; once they are mended, the same call goes on from there.
    A file of several chunks is verified chunk by chunk; `verify` checks its own digest as well.

    Raises TransientError to try again, and RefusedError where something else lies at `target`.
    """
    target = resolved(target)
    watcher.expect(len(manifest.files), manifest.size())
    if is_taken(target):
        return _there_already(manifest, target, notebook, hands, watcher)
    with landing(target, {file.path: file.size for file in manifest.files}) as place:
        supply = Supply(earlier or {}, manifest.objects())
        fetching = Fetching(manifest, store, place, supply, notebook=notebook, watcher=watcher, onlooker=onlooker)
        fetching.make_ready()
        do_all(fetching.pieces(budget or Budget()), hands)
        if not fetching.faults:
            stamps, ended = place.stamps(), clock.now()
            place.publish()
            _remember(manifest, target, stamps, notebook, ended)
    return fetched_by(fetching, target)


def fetched_by(fetching: Fetching, target: Path) -> Fetched:
    """Return what came of `fetching`."""
    return Fetched(
        target,
        tuple(sorted(fetching.faults, key=lambda fault: fault.path)),
        fetching.fetched_objects,
        fetching.fetched_bytes,
        fetching.reused_bytes,
        fetching.kept_bytes,
    )


def _there_already(manifest: Manifest, target: Path, notebook: Notebook, hands: int, watcher: Watcher) -> Fetched:
    """Answer for a target that is taken: by an earlier landing of the same package, or else it is refused."""
    if not target.is_dir() or target.is_symlink():
        raise in_the_way(target)
    with in_our_words(str(target), "look through it"):
        stamps = {path: stamp_of(status) for path, status in tree(target)}
    known = notebook.known({str(target / path): stamp for path, stamp in stamps.items()})
    trusted = {file.path for file in manifest.files if known.get(str(target / file.path)) == _hashed(file)}
    faults = verify(target, manifest, hands=hands, trusted=trusted, watcher=watcher)
    if faults:
        raise in_the_way(target, f"{len(faults)} files differ, the first: {faults[0]}")
    return Fetched(target, (), kept_bytes=manifest.size())


def _remember(
    manifest: Manifest, target: Path, stamps: Mapping[str, Stamp], notebook: Notebook, ended: datetime
) -> None:
    """Note the hashes of what landed, under stamps from before it had its final name and anyone could edit it."""
    for file in manifest.files:
        notebook.remember(str(target / file.path), stamps[file.path], _hashed(file), ended)


def _hashed(file: PackedFile) -> Hashed:
    return Hashed(file.digest, file.chunks)
