"""What one version of a reel changed against another: frames by the reel's own numbers, other files by their paths."""

from dataclasses import dataclass
from typing import NamedTuple

from relay.media.manifest import Manifest
from relay.media.sequence import picture_of
from relay.model import Digest, FrameRange, ScanMap, ranges_of


class Scanned(NamedTuple):
    """A version's manifest, and how the numbers in its file names tie to the reel's frames."""

    manifest: Manifest
    scan: ScanMap


@dataclass(frozen=True)
class Changes:
    """From an earlier version to a later one. Frames are compared by content: a new file name is no change."""

    added: tuple[FrameRange, ...]
    changed: tuple[FrameRange, ...]
    removed: tuple[FrameRange, ...]
    files_added: tuple[str, ...]
    files_changed: tuple[str, ...]
    files_removed: tuple[str, ...]
    unplaced: tuple[str, ...]
    """Frames of the later version, by path, of which its scan map does not say what they show: compared as files."""

    def is_nothing(self) -> bool:
        """Answer whether both versions hold the same."""
        frames = self.added or self.changed or self.removed
        return not (frames or self.files_added or self.files_changed or self.files_removed)


class _Sorted(NamedTuple):
    frames: dict[int, Digest]
    files: dict[str, Digest]
    unplaced: tuple[str, ...]


def compare(earlier: Scanned, later: Scanned) -> Changes:
    """Return what `later` changed. Raises RefusedError for a package whose frames cannot be told apart."""
    old, new = _sorted(earlier), _sorted(later)
    return Changes(
        added=ranges_of(new.frames.keys() - old.frames.keys()),
        changed=ranges_of({frame for frame, held in new.frames.items() if old.frames.get(frame, held) != held}),
        removed=ranges_of(old.frames.keys() - new.frames.keys()),
        files_added=tuple(sorted(new.files.keys() - old.files.keys())),
        files_changed=tuple(sorted(path for path, held in new.files.items() if old.files.get(path, held) != held)),
        files_removed=tuple(sorted(old.files.keys() - new.files.keys())),
        unplaced=new.unplaced,
    )


def _sorted(version: Scanned) -> _Sorted:
    files = {file.path: file.digest for file in version.manifest.files}
    frames: dict[int, Digest] = {}
    unplaced: list[str] = []
    picture = picture_of(version.manifest)
    for number, file in picture.files if picture else ():
        frame = version.scan.reel_frame(number)
        if frame is None:
            unplaced.append(file.path)
        else:
            frames[frame] = files.pop(file.path)
    return _Sorted(frames, files, tuple(unplaced))
