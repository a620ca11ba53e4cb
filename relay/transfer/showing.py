"""Gathers what a reference movie of a programme is made from: reference copies, or only the frames that are shown."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from relay.errors import BrokenError
from relay.ledger.state import State, Version
from relay.media.manifest import PackedFile
from relay.media.package import MOVIES, contents_of, kind_of
from relay.media.sequence import files_by_frame
from relay.media.showing import Strip
from relay.model import FrameRange, ReelName, ScanMap, digest_of, is_in, ranges_of, reel_of
from relay.store.folder import in_our_words
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.looked import Reader


def strip_of(reel: ReelName, folder: Path, scan_map: ScanMap | None) -> Strip | None:
    """Return what a package in `folder` shows of `reel`: its reference copy, else its frames; None: nothing.

    Needs the extra `media`.
    """
    from relay.media.reference import read_copy

    paths = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    contents = contents_of(paths) if paths else None
    if contents is None:
        return None
    for path in contents.movies:
        try:
            copy = read_copy(str(folder / path))
        except ValueError:
            continue  # a movie of something else
        return Strip(reel=reel, movie=str(folder / path), held=copy.held)
    if scan_map is None or not contents.runs:
        return None
    placed = ((scan_map.reel_frame(number), file.path) for number, file in contents.runs[0].files)
    files = {frame: str(folder / path) for frame, path in placed if frame is not None}
    return Strip(reel=reel, files=files, held=ranges_of(set(files)))


def sound_in(folders: Iterable[Path]) -> str | None:
    """Return the first file of sound in any of the folders."""
    for folder in folders:
        paths = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
        if paths and (sounds := contents_of(paths).sounds):
            return str(folder / sounds[0])
    return None


def bring_strip(desk: Desk, state: State, reel: ReelName, frames: Sequence[FrameRange], place: Path) -> Strip | None:
    """Bring what shows `frames` of `reel` into the folder `place`: the newest reference copy, else frames of a version.

    Raises BrokenError where stored bytes are not what their names say.
    """
    versions = state.of_reel(reel)
    for version in reversed(versions):
        files = desk.manifests.read(version.manifest).files
        if movies := [file for file in files if kind_of(file.path) in MOVIES]:
            bring_files(desk, version, movies, place / "copy")
            if strip := strip_of(reel, place / "copy", None):
                return strip
    found = (bring_frames(desk, version, frames, place / "frames") for version in reversed(versions))
    return next((strip for strip in found if strip is not None), None)


def bring_frames(desk: Desk, version: Version, frames: Sequence[FrameRange], place: Path) -> Strip | None:
    """Bring what `version` has of `frames`, as files, into the folder `place`; None where it has none of them."""
    held = files_by_frame(desk.manifests.read(version.manifest), version.scan_map)
    shown = [file for frame, file in held.items() if is_in(frame, frames)]
    if not shown:
        return None
    bring_files(desk, version, shown, place)
    return strip_of(reel_of(version.name), place, version.scan_map)


def bring_files(desk: Desk, version: Version, files: Iterable[PackedFile], place: Path) -> None:
    """Write files of a version under `place`, each object verified; a copy at this site is linked instead."""
    copies = [each.folder for each in desk.arrivals.near(version.name) if each.manifest == version.manifest]
    for file in files:
        target = place / file.path
        with in_our_words(str(place), "write what is shown"):
            target.parent.mkdir(parents=True, exist_ok=True)
            near = next((each / file.path for each in copies if _is_whole(each / file.path, file.size)), None)
            if near is not None:
                target.symlink_to(near.absolute())
                continue
            with target.open("wb") as out:
                out.writelines(objects_of(desk, file, f"see `relay mend {version.name}`"))


def objects_of(source: Reader, file: PackedFile, then: str) -> Iterator[bytes]:
    """Yield a packed file's bytes, each object verified. Raises BrokenError, which says what to do `then`."""
    for chunk in file.objects():
        body = source.store.read(object_key(chunk.digest))
        if digest_of(body) != chunk.digest:
            raise BrokenError(f"{source.store.name}: {object_key(chunk.digest)} holds wrong bytes: {then}")
        yield body


def _is_whole(path: Path, size: int) -> bool:
    return path.is_file() and path.stat().st_size == size


def bring_sound(desk: Desk, version: Version, file: PackedFile, place: Path) -> Path:
    """Bring the sound of a version into the folder `place`. Raises BrokenError."""
    folder = place / "sound" / reel_of(version.name).replace("/", "_")
    bring_files(desk, version, [file], folder)
    return folder / file.path
