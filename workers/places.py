"""The folders at a site that people and workers share."""

from pathlib import Path
from typing import NamedTuple

from relay.errors import RefusedError
from relay.model import ReelName, VersionName


class Places(NamedTuple):
    """Where a site's reels lie. All on one disk, so that a folder moves between them in one step."""

    folder: Path

    @property
    def to_send(self) -> Path:
        """What is dropped here is sent."""
        return self.folder / "to-send"

    @property
    def sent(self) -> Path:
        """Where a folder from `to-send/` lies once it is a version."""
        return self.folder / "sent"

    @property
    def arrived(self) -> Path:
        """What is meant for this site appears here, whole and verified."""
        return self.folder / "arrived"

    @property
    def scratch(self) -> Path:
        """Where automatic jobs work."""
        return self.folder / ".relay-scratch"

    def open(self) -> "Places":
        """Make the folders that are not there yet. Raises RefusedError."""
        try:
            for place in (self.to_send, self.sent, self.arrived, self.scratch):
                place.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RefusedError(
                f"{error.filename} cannot be made: {error.strerror}. Name another place for reels"
            ) from error
        return self

    def arrival_of(self, version: VersionName) -> Path:
        """Return the folder that `version` arrives as: `arrived/A_R03_v3`."""
        return self.arrived / folder_name(version)


def folder_name(name: ReelName | VersionName | str) -> str:
    """Return what a folder for a reel, a version or a job is called: `A_R03`, `A_R03_v3`, `scan_A_R03_1`.

    An underscore in a code stands twice, so that no two names share a folder.
    """
    return name.replace("_", "__").replace("/", "_")
