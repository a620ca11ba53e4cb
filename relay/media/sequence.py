"""Which files of a package are numbered frames, and which numbers are missing."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from relay.errors import RefusedError
from relay.media.manifest import Manifest, PackedFile
from relay.model import FrameRange, ScanMap, ranges_of

_KINDS = {"dpx": 0, "exr": 0, "tif": 1, "tiff": 1, "png": 2}
"""Pictures that come as numbered files; the lower, the likelier it is the film and not a page of a report."""

_FRAME = re.compile(rf"(.*[._])?([0-9]{{1,10}})\.({'|'.join(_KINDS)})", re.IGNORECASE | re.ASCII)


@dataclass(frozen=True)
class Sequence:
    """Files that differ in their number only. Numbers are those in the files' names: a scan's, not the reel's."""

    name: str
    """The path with `#` for the number: `frames/A_R01.#.dpx`."""
    kind: str
    """The extension, in lower case."""
    files: tuple[tuple[int, PackedFile], ...]
    """In the order of their numbers."""

    def numbers(self) -> list[int]:
        """Return the numbers, in order; one that stands twice, as in `1.dpx` and `01.dpx`, stands twice."""
        return [number for number, _ in self.files]

    def missing(self) -> tuple[FrameRange, ...]:
        """Return the numbers that lack between the first and the last."""
        gaps = ((before + 1, after - 1) for before, after in pairwise(self.numbers()))
        return tuple(FrameRange(first=first, last=last) for first, last in gaps if first <= last)


def is_frame(path: str) -> bool:
    """Answer whether the file at `path` is named like a numbered picture."""
    return _FRAME.fullmatch(path.rpartition("/")[2]) is not None


def sequences_of(manifest: Manifest) -> tuple[Sequence, ...]:
    """Return every run of numbered pictures in a package, in the order of their names."""
    found: dict[tuple[str, str], list[tuple[int, PackedFile]]] = {}
    for file in manifest.files:
        folder, slash, name = file.path.rpartition("/")
        if match := _FRAME.fullmatch(name):
            stem, number, kind = match.groups()
            found.setdefault((f"{folder}{slash}{stem or ''}#.{kind}", kind.lower()), []).append((int(number), file))
    return tuple(Sequence(name, kind, tuple(sorted(files))) for (name, kind), files in sorted(found.items()))


def picture_of(manifest: Manifest) -> Sequence | None:
    """Return the one sequence that is the reel's picture, or None where there are no numbered pictures.

    A package may hold scanned pages as well: DPX and EXR go before TIFF and TIFF before PNG, and a run before a
    single file. Raises RefusedError when that leaves more than one, or when a number stands twice.
    """
    sequences = sequences_of(manifest)
    if not sequences:
        return None
    best = min(map(_rank, sequences))
    picture, *others = (sequence for sequence in sequences if _rank(sequence) == best)
    if others:
        raise RefusedError(
            f"the package holds {len(others) + 1} runs of frames, {_named([picture, *others])}: expected one. "
            "Send them as packages of their own"
        )
    _check_once(picture)
    return picture


def frames_in(manifest: Manifest, scan_map: ScanMap | None) -> tuple[FrameRange, ...]:
    """Return which of the reel's frames a version holds; none where its files are not tied to the reel."""
    return ranges_of(set(files_by_frame(manifest, scan_map)))


def files_by_frame(manifest: Manifest, scan_map: ScanMap | None) -> dict[int, PackedFile]:
    """Return the reel's frames that a version holds, each with its file; none where they are not tied to the reel."""
    picture = picture_of(manifest) if scan_map else None
    if picture is None or scan_map is None:
        return {}
    tied = ((scan_map.reel_frame(number), file) for number, file in picture.files)
    return {frame: file for frame, file in tied if frame is not None}


def _rank(sequence: Sequence) -> tuple[bool, int]:
    return (len(sequence.files) == 1, _KINDS[sequence.kind])


def _named(sequences: Iterable[Sequence]) -> str:
    names = [repr(sequence.name) for sequence in sequences]
    return ", ".join(names[:5]) + (" ..." if len(names) > 5 else "")


def _check_once(sequence: Sequence) -> None:
    for (before, one), (after, other) in pairwise(sequence.files):
        if before == after:
            raise RefusedError(
                f"{one.path!r} and {other.path!r} are both number {after} of {sequence.name!r}: "
                "expected one file for each; take one out"
            )
