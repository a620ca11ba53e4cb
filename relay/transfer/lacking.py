"""How many bytes of a version a site still lacks: those of objects that no version it has whole brought there."""

from relay.errors import BrokenError
from relay.ledger.owed import newest_receipt
from relay.ledger.state import State, Version
from relay.model import Digest, VersionName, reel_of
from relay.transfer.manifests import Manifests


class Lacking:
    """Answers by manifests, each read once; called with a version and a site, as forecasts ask."""

    def __init__(self, manifests: Manifests, state: State) -> None:
        self._manifests = manifests
        self._state = state
        self._objects: dict[Digest, dict[Digest, int]] = {}

    def __call__(self, name: VersionName, site: str) -> int:
        """Return the bytes of version `name` that `site` does not have. Raises TransientError."""
        version = self._state.versions[name]
        try:
            wanted = self._read(version)
        except BrokenError:
            return version.size  # nobody can tell until it is mended
        there = self._there(name, site)
        return sum(size for digest, size in wanted.items() if digest not in there)

    def _there(self, name: VersionName, site: str) -> set[Digest]:
        found: set[Digest] = set()
        for version in self._state.of_reel(reel_of(name)):
            if _has(version, site):
                found |= self._read_if_whole(version)
        return found

    def _read_if_whole(self, version: Version) -> set[Digest]:
        try:
            return set(self._read(version))
        except BrokenError:
            return set()

    def _read(self, version: Version) -> dict[Digest, int]:
        if version.manifest not in self._objects:
            self._objects[version.manifest] = self._manifests.read(version.manifest).objects()
        return self._objects[version.manifest]


def _has(version: Version, site: str) -> bool:
    receipt = newest_receipt(version, site)
    return receipt.whole if receipt else version.by == site
