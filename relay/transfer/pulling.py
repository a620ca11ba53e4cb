"""Cut lists and pull lists against a production: what there is of each reel, and just the frames that are needed."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from relay.errors import MissingError, RefusedError
from relay.ledger.state import State, Version
from relay.media.manifest import Manifest
from relay.media.sequence import files_by_frame, frames_in
from relay.model import FrameRange, ReelName, VersionName, every_frame, merged, reel_of
from relay.programme.checking import Holdings
from relay.programme.cutlist import CutList
from relay.programme.lacking import Fill, Print, filled_by
from relay.programme.lineage import accepted as accepted_versions
from relay.programme.pulling import Pull
from relay.store.folder import in_our_words
from relay.transfer.aligned import print_of
from relay.transfer.desk import Desk
from relay.transfer.fetch import Fetched, fetch
from relay.transfer.looked import read_object
from relay.transfer.progress import UNWATCHED, Watcher


def holdings(desk: Desk, state: State, cut_list: CutList) -> Holdings:
    """Return what versions hold of the reels that a list speaks of.

    A reel that no job was ever opened on has nothing to be accepted: what was sent of it counts.
    """
    film = state.film()
    known = frozenset(film.reel_names())
    sent, accepted = {}, {}
    for reel in {event.reel for event in cut_list.events} & known:
        versions = _at_hand(state, reel)
        frames = {
            version.name: frames_in(desk.manifests.read(version.manifest), version.scan_map) for version in versions
        }
        sent[reel] = _together(frames.values())
        good = accepted_versions(state, reel)
        accepted[reel] = sent[reel] if good is None else _together(frames[name] for name in good & frames.keys())
    counted = {
        ReelName(f"{element.code}/{reel.name}"): reel.frames
        for element in film.elements
        for reel in element.reels
        if reel.frames is not None
    }
    return Holdings(known, sent, accepted, counted, _Aligned(desk, state))


class _Aligned:
    """Other prints, by the frame maps in the store; each print's maps are read once, and only for what is lacking."""

    def __init__(self, desk: Desk, state: State) -> None:
        self._desk = desk
        self._state = state
        self._prints: dict[ReelName, Print | None] = {}

    def showing(self, reel: ReelName, frames: FrameRange) -> Iterable[Fill]:
        if reel not in self._prints:
            self._prints[reel] = self._print(reel)
        one = self._prints[reel]
        return (fill for fill in filled_by(one, frames) if fill.count and self._is_at_hand(fill)) if one else ()

    def _print(self, reel: ReelName) -> Print | None:
        named = self._state.aligned()
        version = next((each for each in _at_hand(self._state, reel) if each.name in named), None)
        return print_of(self._desk, self._state, version) if version else None

    def _is_at_hand(self, fill: Fill) -> bool:
        return self._state.versions[fill.version].retired is None


def _at_hand(state: State, reel: ReelName) -> list[Version]:
    """Return the versions of a reel that the store holds, the newest first."""
    return [version for version in reversed(state.of_reel(reel)) if version.retired is None]


def _together(ranges: Iterable[Iterable[FrameRange]]) -> tuple[FrameRange, ...]:
    return merged((each.first, each.last) for some in ranges for each in some)


class Pulled(NamedTuple):
    """The files of one version that a pull list needs."""

    version: VersionName
    frames: tuple[FrameRange, ...]
    manifest: Manifest
    """Of these files only."""


def pulled(desk: Desk, state: State, pull: Pull) -> tuple[Pulled, ...]:
    """Return where the frames of a pull lie: each in an accepted version before others, and in the newest of these."""
    good = accepted_versions(state, pull.reel)
    versions = sorted(_at_hand(state, pull.reel), key=lambda each: good is not None and each.name not in good)
    wanted = set(every_frame(pull.ranges))
    found = []
    for version in versions:
        held = files_by_frame(desk.manifests.read(version.manifest), version.scan_map)
        files = {frame: file for frame, file in held.items() if frame in wanted}
        if files:
            frames = merged((frame, frame) for frame in files)
            found.append(Pulled(version.name, frames, Manifest.of(set(files.values()))))
            wanted -= files.keys()
    return tuple(found)


def all_pulled(desk: Desk, state: State, pulls: Iterable[Pull]) -> list[Pulled]:
    """Return where the frames of all pulls lie. Raises RefusedError where the programme shows one that nobody has."""
    pulls = tuple(pulls)
    _check_there(pulls)
    return [each for pull in pulls for each in pulled(desk, state, pull)]


def fetch_pulled(
    desk: Desk, found: Iterable[Pulled], target: Path, have: Iterable[Path] = (), watcher: Watcher = UNWATCHED
) -> dict[VersionName, Fetched]:
    """Bring just these files into `target`, a folder for each version; each byte verified, each folder whole or not.

    What lies in `have`, folders of earlier pulls, or in versions at this site does not come over the line again. No
    receipt is signed: no version arrived whole. Raises RefusedError and TransientError as `fetch` does.
    """
    pulls = tuple(have)
    with in_our_words(str(target), "make the folder that the frames come to"):
        target.mkdir(exist_ok=True)
    return {
        each.version: fetch(
            each.manifest,
            desk.store,
            target / folder_of(each.version),
            desk.notebook,
            hands=desk.hands,
            earlier=_earlier(desk, each, pulls),
            watcher=watcher,
            clock=desk.clock,
        )
        for each in found
    }


def _earlier(desk: Desk, pulled: Pulled, pulls: Iterable[Path]) -> dict[Path, Manifest]:
    """Return where the files may lie already; whatever is taken from there is hashed again."""
    whole = {each.folder: desk.manifests.read(each.manifest) for each in desk.arrivals.near(pulled.version)}
    return whole | {folder / folder_of(pulled.version): pulled.manifest for folder in pulls}


def folder_of(version: VersionName) -> str:
    """Return the folder that a version's files get in a pull."""
    return version.replace("/", "_")


def kept_list(desk: Desk, state: State, about: str) -> bytes:
    """Return the newest cut list that was kept about a reel, as `relay material keep` does. Raises MissingError."""
    reel = state.reel(about)
    kept = [each for each in state.material if each.about == reel and _is_list(each.name)]
    if not kept:
        raise MissingError(
            f"no cut list is kept about {reel}: name a file, or keep one with `relay material keep LIST {reel}`"
        )
    return read_object(desk, kept[-1].object)


def _is_list(name: str) -> bool:
    return name.lower().endswith((".edl", ".otio", ".toml"))


def _check_there(pulls: Iterable[Pull]) -> None:
    """Raise RefusedError where a pull list lacks what its programme shows."""
    for pull in pulls:
        if pull.lacking:
            said = ", ".join(map(str, pull.lacking[:6])) + (" ..." if len(pull.lacking) > 6 else "")
            raise RefusedError(f"{pull.reel} lacks {said}, which the list shows: `relay cut check` says where")


CSV_HEADS = ("reel", "version", "first", "last", "frames")


def csv_lines(found: Iterable[Pulled]) -> Iterator[dict[str, object]]:
    """Yield a line for each run of frames, by `CSV_HEADS`."""
    for each in found:
        for part in each.frames:
            reel, frames = reel_of(each.version), part.last - part.first + 1
            yield dict(zip(CSV_HEADS, (reel, each.version, part.first, part.last, frames), strict=True))
