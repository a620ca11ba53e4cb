"""Holds a later version against a region that is left as it is: frames from the store, decoded in a child process."""

import tempfile
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.decision_rules import region_decision
from relay.ledger.decision_state import Comparison, Decision
from relay.ledger.decision_words import RegionCompared
from relay.ledger.state import State, Version
from relay.media.eyes import Eyes
from relay.media.manifest import PackedFile
from relay.media.package import kind_of
from relay.media.sequence import files_by_frame
from relay.model import digest_of, every_frame, ranges_of
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.handover import check_held
from relay.transfer.sender import Sender

if TYPE_CHECKING:  # they need numpy and scipy, which the command starts without
    from relay.programme.crops import Pair
    from relay.programme.keeping import Box, Fitted, Picture

MOST = 60
"""Frames that one comparison looks at, evenly taken from the range: a detail in the gate stands still."""


class Compared(NamedTuple):
    """What one comparison found."""

    comparison: Comparison
    entry: int | None
    """None where the same was said before."""


class _Crop(NamedTuple):
    grey: "Picture"
    box: "Box"
    picture: tuple[int, int]


class NoFramesError(MissingError):
    """The version holds none of the frames: it is a movie, perhaps, or another part of the reel."""


def _lacking() -> list[str]:
    return [name for name in ("numpy", "scipy", "PIL", "OpenImageIO", "av") if find_spec(name) is None]


def can_compare() -> bool:
    """Answer whether the libraries that compare pictures are installed."""
    return not _lacking()


def check_can_compare() -> None:
    """Raise RefusedError where the libraries that compare pictures are not installed."""
    if lacking := _lacking():
        raise RefusedError(
            f"pictures cannot be compared: {', '.join(lacking)} not found here. Install them with "
            "pip install 'relay-handoff[media,programme]', then run this again"
        )


def compare_region(desk: Desk, entry: int, name: str) -> Compared:
    """Compare `name` with the region of the decision in `entry`, keep the crops, and say what was found.

    Raises RefusedError where that entry leaves no region as it is, or a frame of the two cannot be compared.
    """
    check_can_compare()
    from relay.programme.crops import crops  # what it needs is installed

    state = desk.ledger.follow()
    desk.check_may_sign(state)
    decision = region_decision(state, entry)
    version = state.version(name)
    pairs, flagged = _pairs(desk, state, decision, version)
    picture = crops(f"{version.name}, entry {entry}", pairs) if pairs else None
    digest = None if picture is None else digest_of(picture)
    if picture is not None and digest is not None:
        Sender(desk.store, desk.notebook, frozenset()).put(digest, memoryview(picture), "the crops")
    word = RegionCompared(
        decision=entry, version=version.name, compared=len(pairs), flagged=ranges_of(flagged)[:1000], crops=digest
    )
    return _said(desk, word)


def compare_by_worker(desk: Desk, entry: int, name: str) -> Compared:
    """Compare as `compare_region` does; of a version that holds none of the frames say just that, once."""
    try:
        return compare_region(desk, entry, name)
    except NoFramesError:
        version = desk.ledger.state.version(name).name
        return _said(desk, RegionCompared(decision=entry, version=version, compared=0))


def _said(desk: Desk, word: RegionCompared) -> Compared:
    said = desk.ledger.append(desk.pen, lambda now, _: None if _is_said(now, word) else [word])
    return Compared(_newest(desk.ledger.state, word), said.sequence if said else None)


def _newest(state: State, word: RegionCompared) -> Comparison:
    about = (word.decision, word.version)
    return next(each for each in reversed(state.comparisons) if (each.decision, each.version) == about)


def _is_said(state: State, word: RegionCompared) -> bool:
    return any(
        (each.decision, each.version, each.flagged, each.crops)
        == (word.decision, word.version, word.flagged, word.crops)
        for each in state.comparisons
    )


def _pairs(desk: Desk, state: State, decision: Decision, later: Version) -> tuple[list["Pair"], set[int]]:
    region = decision.word.region
    if region is None:
        return [], set()
    earlier = state.versions[region.version]
    for version in (earlier, later):
        check_held(version)
    before, after = (files_by_frame(desk.manifests.read(each.manifest), each.scan_map) for each in (earlier, later))
    both = sorted(set(every_frame(decision.word.place.frames)) & before.keys() & after.keys())
    if not both:
        raise NoFramesError(f"{later.name} holds none of the frames that entry {decision.entry} is about")
    box = (region.x, region.y, region.width, region.height)
    chosen, seen = _evenly(both), list[tuple[int, _Crop, _Crop]]()
    with tempfile.TemporaryDirectory() as folder, Eyes(1) as eyes:
        cutter = _Cutter(desk, eyes, Path(folder), box)
        for frame in chosen:
            one, two = cutter.crop(before[frame]), cutter.crop(after[frame])
            if one.picture != two.picture:
                raise RefusedError(
                    f"frame {frame} is {one.picture[0]}x{one.picture[1]} pixels in {earlier.name} and "
                    f"{two.picture[0]}x{two.picture[1]} in {later.name}: only pictures of one size can be compared"
                )
            seen.append((frame, one, two))
    return _judged(seen, {frame for frame in chosen if before[frame].digest == after[frame].digest})


def _judged(seen: Sequence[tuple[int, _Crop, _Crop]], same: set[int]) -> tuple[list["Pair"], set[int]]:
    from relay.programme.crops import Pair
    from relay.programme.keeping import GONE, fitted, scores

    laid = [fitted(one.grey, two.grey, one.box) if frame not in same else _unchanged(one) for frame, one, two in seen]
    found = scores(laid, seen[0][1].box)
    marks = [frame not in same and score >= GONE for (frame, _, _), score in zip(seen, found, strict=True)]
    pairs = [
        Pair(frame, one.grey, each.picture, one.box, score, is_flagged=mark)
        for (frame, one, _), each, score, mark in zip(seen, laid, found, marks, strict=True)
    ]
    return pairs, {pair.frame for pair in pairs if pair.is_flagged}


def _unchanged(crop: _Crop) -> "Fitted":
    from relay.programme.keeping import Fitted

    return Fitted(crop.grey, crop.grey * 0)


def _evenly(frames: Sequence[int]) -> list[int]:
    if len(frames) <= MOST:
        return list(frames)
    return [frames[round(at * (len(frames) - 1) / (MOST - 1))] for at in range(MOST)]


class _Cutter:
    def __init__(self, desk: Desk, eyes: Eyes, folder: Path, box: "Box") -> None:
        self._desk, self._eyes, self._folder, self._box = desk, eyes, folder, box

    def crop(self, file: PackedFile) -> _Crop:
        from relay.media.cropping import grey_of
        from relay.programme.keeping import MARGIN

        body = self._body(file)
        kind = {"tiff": "tif"}.get(kind_of(file.path), kind_of(file.path))
        place = self._folder / f"frame.{kind}"
        place.write_bytes(body)
        told: dict[str, Any] = {
            "what": "crop",
            "path": str(place),
            "kind": kind,
            "box": list(self._box),
            "margin": MARGIN,
        }
        facts = self._eyes.file(told).facts
        if "fault" in facts:
            raise RefusedError(f"{file.path} cannot be compared: {facts['fault']}")
        x, y, width, height = self._box
        inside = (x - facts["left"], y - facts["top"], width, height)
        return _Crop(grey_of(facts), inside, (facts["picture"][0], facts["picture"][1]))

    def _body(self, file: PackedFile) -> bytes:
        parts = [self._desk.store.read(object_key(chunk.digest)) for chunk in file.objects()]
        body = b"".join(parts)
        if digest_of(body) != file.digest:
            raise BrokenError(f"{file.path}: wrong bytes in {self._desk.store.name}: `relay mend` can put them right")
        return body
