"""A print that came late, reel by reel: what it adds to those that were there, how it looks beside them, its bytes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from relay.forecast.ground import Ground
from relay.forecast.paces import frames_of as expected_frames
from relay.ledger.state import State, Version
from relay.media.sequence import files_by_frame
from relay.model import Element, FrameRange, ReelName, VersionName, frame_count, is_in, reel_of
from relay.programme.lacking import Print, gaps_of
from relay.programme.late import Filled, Shared, added, filled, fills, not_known, shared, still_nowhere
from relay.transfer.aligned import print_of, prints_of
from relay.transfer.desk import Desk

if TYPE_CHECKING:
    from relay.media.quality import Look

SAMPLES = 2
"""Frames of a shot that are measured, each with its neighbours."""


class Beside(NamedTuple):
    """How a stretch looks that two prints hold: the middle figures of the same frames of each."""

    other: VersionName
    at: Shared
    late: "Look"
    there: "Look"


@dataclass(frozen=True)
class LateReel:
    """One reel of the print."""

    reel: ReelName
    frames: int
    """All of it, as it was sent; as the can says, or is guessed, where nothing was sent."""
    size: int
    """Bytes of all of it; what is expected, where nothing was sent."""
    version: VersionName | None = None
    """The one that was put beside other prints."""
    others: tuple[VersionName, ...] = ()
    filled: tuple[Filled, ...] = ()
    nowhere: int = 0
    """Places of the other prints that no print has whole, this one counted in."""
    not_known: int = 0
    """Such places of which nobody knows whether this one has them."""
    added: tuple[FrameRange, ...] = ()
    """Its frames that fill what no other print did."""
    fills: int = 0
    """How many of these do; more are named where a gap's edges are doubtful."""
    added_size: int = 0
    """Their bytes."""
    looks: tuple[Beside, ...] = ()
    is_sent: bool = False


def late_reels(desk: Desk, ground: Ground, element: Element, places: int) -> tuple[LateReel, ...]:
    """Return what each reel of `element` adds. At `places` shots of each, frames are fetched and measured: 0 for none.

    Raises RefusedError where frames cannot be decoded, and BrokenError.
    """
    return tuple(_reel(desk, ground, ReelName(f"{element.code}/{reel.name}"), places) for reel in element.reels)


def _reel(desk: Desk, ground: Ground, reel: ReelName, places: int) -> LateReel:
    state, sent = ground.state, ground.state.of_reel(reel)
    named = state.aligned()
    version = next((each for each in reversed(sent) if each.name in named), None)
    if version is None:
        return _unknown(ground, reel, sent)
    late = print_of(desk, state, version, with_shots=bool(places))
    others = prints_of(desk, state, [state.versions[name] for name in _newest(state, late)])
    lacking = {one.version: gaps_of(one) for one in others}
    found = filled(lacking, version.name)
    wanted = added(found)
    return LateReel(
        reel,
        frame_count(late.held),
        version.size,
        version.name,
        tuple(one.version for one in others),
        found,
        still_nowhere(lacking, version.name),
        not_known(lacking, version.name),
        wanted,
        fills(found),
        _size_of(desk, version, wanted),
        _looks(desk, state, late, others, places) if places else (),
        is_sent=True,
    )


def _unknown(ground: Ground, reel: ReelName, sent: tuple[Version, ...] | list[Version]) -> LateReel:
    if sent:
        return LateReel(reel, sent[-1].files, sent[-1].size, is_sent=True)
    frames, _ = expected_frames(ground.state, ground.film, reel)
    first = ground.film.route[0] if ground.film.route else None
    return LateReel(reel, frames, ground.size_of(first, reel) if first else 0)


def _newest(state: State, late: Print) -> list[VersionName]:
    """Return the other prints that were put beside it, each by its newest version that was."""
    newest = {reel_of(name): name for name in sorted(late.maps, key=lambda name: state.versions[name].entry)}
    return sorted(name for reel, name in newest.items() if reel != reel_of(late.version))


def _size_of(desk: Desk, version: Version, frames: tuple[FrameRange, ...]) -> int:
    files = files_by_frame(desk.manifests.read(version.manifest), version.scan_map)
    return sum(file.size for number, file in files.items() if is_in(number, frames))


def _looks(desk: Desk, state: State, late: Print, others: list[Print], places: int) -> tuple[Beside, ...]:
    from relay.transfer.measured import quality_at  # what it needs is installed

    known: dict[FrameRange, Look] = {}
    found = []
    for one in others:
        for at in shared(late, one.version, places):
            if at.frames not in known:
                known[at.frames] = quality_at(desk, state.versions[late.version], [at.frames], SAMPLES)
            there = quality_at(desk, state.versions[one.version], [at.others], SAMPLES)
            found.append(Beside(one.version, at, known[at.frames], there))
    return tuple(found)
