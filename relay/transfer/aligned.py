"""Frame maps of prints in the store: kept with one entry that says so, read back whichever way round is asked for."""

from datetime import datetime
from functools import reduce
from itertools import pairwise
from typing import Protocol

from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.ledger.state import Alignment, State, Version
from relay.ledger.words import VersionsAligned, Word
from relay.media.sequence import frames_in
from relay.model import ElementKind, FrameRange, VersionName, digest_of, reel_of
from relay.programme.chaining import Link, paths_from
from relay.programme.framemap import FrameMap, parse_map, stored_map
from relay.programme.lacking import Print
from relay.transfer.desk import Desk
from relay.transfer.looked import Reader, read_object, thumbnails_of
from relay.transfer.manifests import Manifests
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


def read_map(desk: Source, said: Alignment) -> FrameMap:
    """Return the frame map that an entry names. Raises BrokenError, and RefusedError where this Relay is too old."""
    try:
        found = parse_map(read_object(desk, said.frame_map))
    except ValueError as fault:
        raise RefusedError(
            f"the frame map {said.frame_map} cannot be read: {fault}. Upgrade, or align again"
        ) from fault
    if (found.one, found.other) != (said.one, said.other):
        raise RefusedError(
            f"entry {said.entry} is about {said.one} and {said.other}, its frame map about {found.one} and "
            f"{found.other}: align them again"
        )
    return found


def maps_from(
    desk: Source, state: State, version: VersionName, *, with_made: bool = False
) -> dict[VersionName, FrameMap]:
    """Return every map that begins at `version`, by the version that it leads to.

    A reel that it was not itself put beside is reached by way of others, where that can be: such a map says which. The
    restored programme, made of prints, fills no print's gaps: it is left out unless `with_made`.
    """
    read: dict[frozenset[VersionName], FrameMap] = {}
    made = set() if with_made else {name for name in state.aligned() if _is_made(state, name)} - {version}
    said = {frozenset({each.one, each.other}): each for each in state.alignments if not made & {each.one, each.other}}

    def between(one: VersionName, other: VersionName) -> FrameMap:
        pair = frozenset({one, other})
        if pair not in read:
            read[pair] = read_map(desk, said[pair])
        return read[pair] if read[pair].one == one else read[pair].inverse()

    direct = [_other_of(each, version) for each in said.values() if version in {each.one, each.other}]
    found = {other: between(version, other) for other in direct}
    links = (Link(each.one, each.other, each.sure / each.frames) for each in said.values())
    for path in paths_from(version, links):
        steps = [between(one, other) for one, other in pairwise(path)]
        found[path[-1]] = reduce(FrameMap.then, steps)
    return found


def _is_made(state: State, version: VersionName) -> bool:
    element = state.film().element_of(reel_of(version))
    return element is not None and element.kind is ElementKind.RESTORED_PROGRAMME


def _other_of(said: Alignment, version: VersionName) -> VersionName:
    return said.other if said.one == version else said.one


def frames_of(desk: Source, version: Version) -> tuple[FrameRange, ...]:
    """Return the frames that a version holds, by the reel's own numbers. Raises RefusedError: it holds no frames."""
    held = frames_in(desk.manifests.read(version.manifest), version.scan_map)
    if not held:
        raise RefusedError(f"{version.name} holds no numbered frames that are tied to the reel: name a scan of it")
    return held


def print_of(
    desk: Source, state: State, version: Version, *, with_shots: bool = False, with_made: bool = False
) -> Print:
    """Return a version as one print among those that it was aligned with.

    `with_shots` reads its kept thumbnails, up to a hundred megabytes, for where its shots begin; `with_made` counts the
    restored programme among the others.
    """
    shots = shots_of(desk, version) if with_shots else None
    maps = maps_from(desk, state, version.name, with_made=with_made)
    return Print(version.name, frames_of(desk, version), maps, shots)


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
