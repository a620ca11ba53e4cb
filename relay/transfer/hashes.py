"""Hashes of files that were read for another reason, noted so that whoever sends them knows them."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from relay.media.manifest import chunk_sizes
from relay.model import Digest
from relay.transfer.notebook import Hashed, Notebook, Stamp, stamp_of


def remember_hashes(
    notebook: Notebook, folder: Path, files: Mapping[str, Stamp], digests: Mapping[str, Digest], began: datetime
) -> None:
    """Note what each of `files` was found to hold, if it bears the stamp still that it had before reading it `began`.

    Files that are sent in chunks are left out: of those, whoever sends them needs the chunks' hashes as well.
    """
    root = folder.resolve()
    for path, digest in digests.items():
        stamp = files[path]
        if not chunk_sizes(stamp.size) and _is_unmoved(root / path, stamp):
            notebook.remember(str(root / path), stamp, Hashed(digest), began)


def _is_unmoved(place: Path, stamp: Stamp) -> bool:
    try:
        return stamp_of(place.lstat()) == stamp
    except OSError:
        return False
