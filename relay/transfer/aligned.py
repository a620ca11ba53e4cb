"""Frame maps of prints in the store: kept with one entry that says so, read back whichever way round is asked for."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Protocol

from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.ledger.state import State, Version
from relay.ledger.words import VersionsAligned, Word
from relay.media.sequence import frames_in
from relay.model import FrameRange, digest_of
from relay.programme.framemap import FrameMap, stored_map
from relay.programme.lacking import Print
from relay.transfer.desk import Desk
from relay.transfer.looked import Reader, thumbnails_of
from relay.transfer.manifests import Manifests
from relay.transfer.maps import Shelf
from relay.transfer.sender import Sender


class Source(Reader, Protocol):
    """A desk, a board's seat: whoever can read the store and its manifests."""

    @property
    def manifests(self) -> Manifests: ...


def say_aligned(desk: Desk, found: FrameMap, pins: tuple[int, ...] = ()) -> Entry | None:
    """Store a frame map and say so, and which pins it keeps to. None: the newest word on the two says the same."""
    body = stored_map(found)
    digest = digest_of(body)
    Sender(desk.store, desk.notebook, frozenset()).put(digest, memoryview(bytearray(body)), f"the map of {found.one}")
    runs = found.there.runs
    word = VersionsAligned(
        one=found.one,
        other=found.other,
        frame_map=digest,
        matched=sum(run.length for run in runs if run.other is not None),
        sure=sum(run.length for run in runs if run.sure),
        frames=sum(run.length for run in runs),
        pins=pins,
    )

    def decide(state: State, _now: datetime) -> list[Word] | None:
        about = {found.one, found.other}
        said = {(each.frame_map, each.pins) for each in state.alignments if {each.one, each.other} == about}
        return None if (digest, pins) in said else [word]

    return desk.ledger.append(desk.pen, decide)


def frames_of(desk: Source, version: Version) -> tuple[FrameRange, ...]:
    """Return the frames that a version holds, by the reel's own numbers. Raises RefusedError: it holds no frames."""
    held = frames_in(desk.manifests.read(version.manifest), version.scan_map)
    if not held:
        raise RefusedError(f"{version.name} holds no numbered frames that are tied to the reel: name a scan of it")
    return held


def print_of(
    desk: Source,
    state: State,
    version: Version,
    *,
    with_shots: bool = False,
    with_made: bool = False,
    with_among: bool = False,
) -> Print:
    """Return a version as one print among those that it was aligned with.

    `with_shots` reads its kept thumbnails, up to a hundred megabytes, for where its shots begin; `with_made` counts the
    restored programme among the others; `with_among` reads the maps between the others, too.
    """
    shelf = Shelf(desk, state, with_made=with_made)
    found = _read(desk, shelf, version, with_shots=with_shots)
    return replace(found, among=shelf.among(found.maps)) if with_among else found


def prints_of(desk: Source, state: State, versions: Iterable[Version], *, with_shots: bool = False) -> list[Print]:
    """Return several as `print_of` does, each frame map read once for all of them."""
    shelf = Shelf(desk, state)
    return [_read(desk, shelf, version, with_shots=with_shots) for version in versions]


def _read(desk: Source, shelf: Shelf, version: Version, *, with_shots: bool) -> Print:
    shots = shots_of(desk, version) if with_shots else None
    maps = shelf.maps_from(version.name)
    return Print(version.name, frames_of(desk, version), maps, shots, shelf.disputed_from(version.name))


def shots_of(desk: Source, version: Version) -> tuple[int, ...] | None:
    """Return the frames of the reel that begin another shot, by the thumbnails of the newest inspection.

    None: nobody looked at it. Needs the extra `media`.
    """
    if not version.inspections or version.inspections[-1].thumbnails is None:
        return None
    return tuple(thumbnails_of(desk, version).cuts())


def aligned_version(state: State, text: str) -> Version:
    """Return the version that `text` names; of a reel, the newest that was put beside another print.

    Raises RefusedError, and MissingError where there is no such reel or version.
    """
    version = state.version(text)
    if text == version.name:
        return version
    named = state.aligned()
    return next((each for each in reversed(state.of_reel(state.reel(text))) if each.name in named), version)
