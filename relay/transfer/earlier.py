"""Earlier versions at this site, as a supply of objects: what did not change need not come over the line again.

Someone may have edited those files since, so what is taken from them is hashed once more where it landed.
"""

import os
import stat
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from relay.media.manifest import Manifest
from relay.model import Digest
from relay.transfer.tree import READ


class Copy(NamedTuple):
    """Where the bytes of an object once were."""

    path: Path
    offset: int  # bytes


class Supply:
    """Which files of earlier versions held which of the objects that are wanted now."""

    def __init__(self, earlier: Mapping[Path, Manifest], wanted: Collection[Digest]) -> None:
        self._copies: dict[Digest, list[Copy]] = {}
        for folder, manifest in earlier.items():
            for file in manifest.files:
                offset = 0
                for item in file.objects():
                    if item.digest in wanted:
                        self._copies.setdefault(item.digest, []).append(Copy(folder / file.path, offset))
                    offset += item.size

    def digests(self) -> Collection[Digest]:
        """Return which objects there may be a copy of."""
        return self._copies.keys()

    def copies(self, digest: Digest) -> Iterator[Copy]:
        """Yield the places where a copy of the object may be."""
        yield from self._copies.get(digest, ())


@contextmanager
def opened(copy: Copy) -> Iterator[int | None]:
    """Open the file that holds `copy`; None where it is gone, is no file any more, or may not be read."""
    descriptor = None
    with suppress(OSError):
        descriptor = os.open(copy.path, READ)
    try:
        is_file = descriptor is not None and stat.S_ISREG(os.fstat(descriptor).st_mode)
        yield descriptor if is_file else None
    finally:
        if descriptor is not None:
            os.close(descriptor)
