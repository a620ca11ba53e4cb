"""What an inspection left in the store, read again: its findings, its pictures, a grey thumbnail of every frame.

Whoever shows a version or aligns two prints by it reads these, and none of its frames.
"""

from typing import Protocol

from relay.errors import BrokenError, MissingError
from relay.ledger.state import Inspected, State, Version
from relay.media.decay import Decayed
from relay.media.findings import Report, parse_report
from relay.media.thumbnails import STORED_LIMIT, GreyReel, parse_thumbnails
from relay.model import Digest, FrameRange, ScanMap, digest_of, every_frame, ranges_of
from relay.store.keys import object_key
from relay.store.port import Store


class Reader(Protocol):
    """A desk, a board's seat: whoever can read the store."""

    @property
    def store(self) -> Store: ...


def newest_look(version: Version) -> Inspected:
    """Return who looked at `version` last, with the digests of what that left. Raises MissingError: nobody did."""
    if not version.inspections:
        why = "".join(f": {unseen.site} says {unseen.why!r}" for unseen in version.unseen[-1:]) or " yet"
        raise MissingError(f"nobody looked at {version.name}{why}; `relay inspect FOLDER` looks at a folder")
    return version.inspections[-1]


def read_report(desk: Reader, inspected: Inspected) -> Report:
    """Return the report of an inspection. Raises BrokenError where the store does not hold it."""
    body = read_object(desk, inspected.report)
    try:
        return parse_report(body)
    except ValueError as fault:
        raise BrokenError(f"the report {inspected.report} cannot be read: {fault}. Upgrade, or look again") from fault


def decay_of(desk: Reader, version: Version) -> tuple[Decayed, ...] | None:
    """Return where the newest inspection of `version` saw decay, by the reel's own numbers; None: nobody looked.

    Raises BrokenError.
    """
    seen = read_report(desk, version.inspections[-1]).decay if version.inspections else None
    if seen is None or version.scan_map is None:
        return seen
    return tuple(
        Decayed(frames=frames, share=each.share) for each in seen for frames in _on_reel(version.scan_map, each.frames)
    )


def _on_reel(scan_map: ScanMap, scanned: FrameRange) -> tuple[FrameRange, ...]:
    placed = (scan_map.reel_frame(number) for number in every_frame([scanned]))
    return ranges_of({frame for frame in placed if frame is not None})


def pictured_version(state: State, text: str) -> Version:
    """Return the version that `text` names; of a reel, the newest of which thumbnails were kept, if there is one.

    A newer one may hold no frames: reference copies, say. Raises RefusedError, and MissingError where there is none.
    """
    version = state.version(text)
    if text == version.name:
        return version
    kept = (each for each in reversed(state.of_reel(state.reel(text))) if each.inspections)
    return next((each for each in kept if each.inspections[-1].thumbnails is not None), version)


def thumbnails_of(desk: Reader, version: Version) -> GreyReel:
    """Return a grey thumbnail of every frame of `version` that could be decoded, by the reel's own numbers.

    Frames that the version's scan map says nothing of are left out; without a map the numbers are the files' own.
    Needs the extra `media`. Raises MissingError where nobody looked or there are no frames, and BrokenError.
    """
    looked = newest_look(version)
    if looked.thumbnails is None:
        raise MissingError(
            f"{version.name} holds no numbered frames that could be decoded, so it has no thumbnails: name a version "
            "that has frames; `relay reel show` lists them"
        )
    try:
        scanned = parse_thumbnails(read_object(desk, looked.thumbnails))
    except ValueError as fault:
        raise BrokenError(
            f"the thumbnails {looked.thumbnails} of {version.name} cannot be read: {fault}. Upgrade, or look again"
        ) from fault
    return scanned if version.scan_map is None else scanned.on_reel(version.scan_map)


def read_object(desk: Reader, digest: Digest) -> bytes:
    """Return a small object. Raises BrokenError where its bytes are not what its name says."""
    body = desk.store.read(object_key(digest), STORED_LIMIT)
    if digest_of(body) != digest:
        raise BrokenError(
            f"{desk.store.name}: {object_key(digest)} holds wrong bytes, found SHA-256 {digest_of(body)}: "
            "it cannot be shown; the version itself is not touched by that"
        )
    return body
