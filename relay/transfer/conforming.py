"""What came back held against its cut list: numbers, headers and thumbnails gathered, and one entry says how it lies.

Frames are matched by the numbers in their files' names, by the frame position in their headers where a copy lies at
this site, and by the thumbnails that inspections left in the store; no frame is fetched for it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from relay.errors import MissingError, RefusedError
from relay.ledger.entry import Entry
from relay.ledger.state import Conformed, State, Version
from relay.ledger.words import VersionConformed, Word
from relay.media.eyes import Eyes, has_media
from relay.media.header import DPX_HEADER, parse_dpx
from relay.media.inspection import inspect_folder
from relay.media.package import contents_of
from relay.media.thumbnails import GreyReel, parse_thumbnails
from relay.model import Digest, FrameRange, ReelName, ScanMap, VersionName, digest_of, is_in, merged
from relay.programme.conforming import ConformReport, conformed, mixed_places, parse_conform_report
from relay.programme.cutlist import Shown
from relay.programme.matching import REACH, match
from relay.programme.mixing import match_mixtures
from relay.transfer.cut_lists import Listed, list_among
from relay.transfer.desk import Desk
from relay.transfer.folder import survey
from relay.transfer.looked import read_object, thumbnails_of
from relay.transfer.sender import Sender


@dataclass(frozen=True)
class Came:
    """What came back: what each place's header declares, or None, and the thumbnails where there are some."""

    positions: Mapping[int, int | None]
    grey: GreyReel | None


def came_in_folder(folder: Path, scan_map: ScanMap | None, *, with_pictures: bool = True) -> Came:
    """Look at a folder that was not sent yet. `scan_map` None: the first file is place 0. Raises RefusedError."""
    files = survey(folder).files
    numbered = _numbered(folder, files)
    tied = scan_map or ScanMap.start_mark(numbered[0][0])
    positions = _positions(folder, numbered, tied)
    if not with_pictures:
        return Came(positions, None)
    return Came(positions, _looked_at(folder, files).on_reel(tied))


def _looked_at(folder: Path, paths: Iterable[str]) -> GreyReel:
    with Eyes() as eyes:
        inspection = inspect_folder(folder, paths, eyes)
    (thumbnails, *_) = inspection.thumbnails.values()
    return parse_thumbnails(bytes(thumbnails.stored()))


def came_in_version(desk: Desk, version: Version, *, with_pictures: bool = True) -> Came:
    """Gather what is known of a version that was sent. Raises RefusedError where it holds no numbered frames."""
    tied = version.scan_map
    if tied is None:
        raise RefusedError(f"the files of {version.name} are tied to no frames: send it with --start-mark NUMBER")
    paths = [file.path for file in desk.manifests.read(version.manifest).files]
    folder = _copy_of(desk, version)
    numbered = _numbered(Path(version.name), paths)
    if folder is None:
        positions: dict[int, int | None] = dict.fromkeys(_places(numbered, tied))
    else:
        positions = _positions(folder, numbered, tied)
    return Came(positions, _thumbnails(desk, version, folder) if with_pictures else None)


def _copy_of(desk: Desk, version: Version) -> Path | None:
    copies = desk.arrivals.near(version.name)
    return next((each.folder for each in copies if each.manifest == version.manifest), None)


def _thumbnails(desk: Desk, version: Version, folder: Path | None) -> GreyReel | None:
    """Return the thumbnails that an inspection left, else those of the copy at this site, if it can be looked at."""
    if version.inspections and version.inspections[-1].thumbnails:
        return thumbnails_of(desk, version)
    if folder is None or not has_media():
        return None
    return came_in_folder(folder, version.scan_map).grey


def _numbered(place: Path, paths: Iterable[str]) -> list[tuple[int, str]]:
    runs = contents_of(paths).runs
    if not runs:
        raise RefusedError(f"{place} holds no numbered frames: name what the lab returned")
    return [(number, file.path) for number, file in runs[0].files]


def _places(numbered: Sequence[tuple[int, str]], tied: ScanMap) -> dict[int, str]:
    return {place: path for number, path in numbered if (place := tied.reel_frame(number)) is not None}


def _positions(folder: Path, numbered: Sequence[tuple[int, str]], tied: ScanMap) -> dict[int, int | None]:
    return {place: _position(folder / path) for place, path in _places(numbered, tied).items()}


def _position(path: Path) -> int | None:
    """Return the frame position in a DPX header; None where there is none. Raises RefusedError."""
    if path.suffix.lower() != ".dpx":
        return None
    try:
        with path.open("rb") as file:
            return parse_dpx(file.read(DPX_HEADER)).position
    except ValueError:
        return None  # no picture: the thumbnails say so, or an inspection does
    except OSError as error:
        raise RefusedError(f"{path} cannot be read ({error.strerror}): see what is there") from error


def sources_of(desk: Desk, state: State, needed: Mapping[ReelName, Sequence[FrameRange]]) -> dict[ReelName, GreyReel]:
    """Return the thumbnails of the newest version of each reel that somebody looked at, by the reel's own numbers.

    Where nobody did, of the newest version that lies at this site whole, around the frames that are needed.
    """
    found = {}
    for reel, frames in needed.items():
        versions = [version for version in state.of_reel(reel) if version.scan_map]
        looked = [each for each in versions if each.inspections and each.inspections[-1].thumbnails]
        grey = thumbnails_of(desk, looked[-1]) if looked else _seen_here(desk, versions, frames)
        if grey is not None:
            found[reel] = grey
    return found


def _seen_here(desk: Desk, versions: Sequence[Version], frames: Sequence[FrameRange]) -> GreyReel | None:
    """Look at the frames that are needed, in the newest of `versions` of which a copy lies here."""
    copies = ((version.scan_map, _copy_of(desk, version)) for version in reversed(versions))
    tied, folder = next((each for each in copies if all(each)), (None, None))
    if tied is None or folder is None or not has_media():
        return None
    near = merged((each.first - REACH, each.last + REACH) for each in frames)
    placed = _places(_numbered(folder, survey(folder).files), tied)
    paths = [path for frame, path in placed.items() if is_in(frame, near)]
    return _looked_at(folder, paths).on_reel(tied) if paths else None


def held_against(desk: Desk, listed: Listed, came: Came, version: Version | None = None) -> ConformReport:
    """Return how what came back lies to the list."""
    wanted: list[Shown] = list(listed.cut_list.shown())
    pictures, mixtures, mixed = None, None, mixed_places(listed.cut_list)
    if came.grey is not None:
        sources = sources_of(desk, desk.ledger.state, listed.cut_list.needed())
        pictures = match(wanted, came.grey, sources, mixed)
        mixtures = match_mixtures(listed.cut_list, came.grey, sources, pictures.price)
    name, going = version.name if version else None, listed.cut_list.going()
    return conformed(wanted, came.positions, pictures, digest_of(listed.body), name, mixed, going, mixtures)


def say_conformed(desk: Desk, version: Version, listed: Listed, report: ConformReport) -> Entry | None:
    """Store list and report, and say how `version` lies. None: this site said just that before."""
    sender = Sender(desk.store, desk.notebook, frozenset())

    def kept(body: bytes, what: str) -> Digest:
        digest = digest_of(body)
        sender.put(digest, memoryview(bytearray(body)), f"{what} of {version.name}")
        return digest

    word = VersionConformed(
        version=version.name,
        manifest=version.manifest,
        cut_list=kept(listed.body, "the cut list"),
        report=kept(report.encode(), "the check against the list"),
        blocking=report.blocking(),
        warning=report.warning(),
    )

    def decide(state: State, _now: datetime) -> list[Word] | None:
        said = state.versions[version.name].conforms[-1:]
        return None if said and (said[0].site, said[0].report) == (desk.site, word.report) else [word]

    return desk.ledger.append(desk.pen, decide)


def conform_by_inputs(desk: Desk, version: Version, inputs: Iterable[VersionName]) -> ConformReport:
    """Hold what a job was handed in with against the cut list among what it took, and say how it lies."""
    state = desk.ledger.state
    taken = dict.fromkeys((*inputs, *version.parents))
    listed = list_among(desk, [state.versions[name] for name in taken if name in state.versions])
    report = held_against(desk, listed, came_in_version(desk, version), version)
    say_conformed(desk, version, listed, report)
    return report


def newest_check(version: Version) -> Conformed:
    """Return who held `version` against its list last. Raises MissingError: nobody did."""
    if not version.conforms:
        raise MissingError(f"nobody held {version.name} against a cut list yet: `relay conform {version.name} LIST`")
    return version.conforms[-1]


def read_check(desk: Desk, held: Conformed) -> ConformReport:
    """Return the report of a check. Raises BrokenError, and RefusedError where this Relay is too old for it."""
    try:
        return parse_conform_report(read_object(desk, held.report))
    except ValueError as fault:
        raise RefusedError(f"the report {held.report} cannot be read: {fault}. Upgrade, or check again") from fault
