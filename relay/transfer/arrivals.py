"""Where at this site versions lie that it sent or received: a supply of frames that need not come over the line again.

Only a memory: folders that are gone or were edited since are found out when they are read.
"""

import fcntl
from pathlib import Path
from typing import NamedTuple

from pydantic import ValidationError

from relay.errors import RefusedError
from relay.model import Digest, DigestField, Frozen, VersionField, reel_of


class _Line(Frozen):
    folder: str
    version: VersionField
    manifest: DigestField


class Arrival(NamedTuple):
    """A folder that held a version when this site last looked."""

    folder: Path
    manifest: Digest


class Arrivals:
    """One file in the site's home, a line for each folder."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def note(self, folder: Path, version: VersionField, manifest: Digest) -> None:
        """Remember that `folder` holds `version`."""
        place = str(folder.resolve())
        if not _is_text(place):
            return  # such a folder is not remembered: its frames come over the line again
        line = _Line(folder=place, version=version, manifest=manifest).model_dump_json()
        try:
            with self._path.open("a", encoding="utf-8") as file:
                fcntl.flock(file, fcntl.LOCK_EX)
                file.write(f"{line}\n")
        except OSError as error:
            raise RefusedError(
                f"{self._path} cannot be written: {error.strerror}. Mend that, run this again"
            ) from error

    def near(self, version: VersionField) -> list[Arrival]:
        """Return the folders that hold versions of the same reel, the newest first."""
        try:
            lines = self._path.read_text(encoding="utf-8").splitlines()
        except OSError:
            return []
        found: dict[str, Arrival] = {}
        for text in reversed(lines):
            line = _parsed(text)
            if line and reel_of(line.version) == reel_of(version) and line.folder not in found:
                found[line.folder] = Arrival(Path(line.folder), line.manifest)
        return [arrival for arrival in found.values() if arrival.folder.is_dir()]


def _is_text(path: str) -> bool:
    try:
        path.encode()
    except UnicodeEncodeError:
        return False
    return True


def _parsed(text: str) -> _Line | None:
    try:
        return _Line.model_validate_json(text)
    except ValidationError:
        return None  # half a line, from a run that was killed
