"""Prints put side by side from what the store holds: thumbnails in, a frame map out, and one entry that says so."""

from importlib.util import find_spec
from itertools import combinations
from typing import TYPE_CHECKING, Literal

from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.ledger.pin_rules import pins_between
from relay.ledger.state import Alignment, State, Version
from relay.model import ReelName, reel_of
from relay.programme.framemap import FrameMap
from relay.transfer.aligned import say_aligned
from relay.transfer.desk import Desk
from relay.transfer.looked import thumbnails_of

if TYPE_CHECKING:
    from relay.media.thumbnails import Grey


def has_programme() -> bool:
    """Answer whether the libraries for aligning are installed."""
    return all(find_spec(name) is not None for name in ("numpy", "scipy"))


def align(desk: Desk, one: Version, other: Version) -> tuple[FrameMap, Entry | None]:
    """Put two versions side by side, bound by what people pinned, and say so. No entry: the same was said before.

    Raises RefusedError where the libraries are lacking or a pin cannot be kept to, MissingError where a version has no
    thumbnails, and BrokenError.
    """
    if not has_programme():
        raise RefusedError("aligning prints needs numpy and scipy: pip install 'relay-handoff[programme]'")
    from relay.programme.alignment.aligning import PinError, frame_map_between
    from relay.programme.repeating import with_repeats

    pins = pins_between(desk.ledger.state, reel_of(one.name), reel_of(other.name))
    here, there = thumbnails_of(desk, one), thumbnails_of(desk, other)
    if not len(here.numbers):
        raise RefusedError(f"{one.name} has no frame that its scan map ties to the reel: send a scan map that does")
    tied = [(pin.frame, pin.other_frame) for pin in pins]
    reels = (here.numbers, here.grey), (there.numbers, there.grey)
    try:
        found = with_repeats(frame_map_between((one.name, other.name), *reels, tied), *reels)
    except PinError as error:
        raise RefusedError(f"{one.name} and {other.name}: {error}") from error
    return found, say_aligned(desk, found, tuple(sorted(pin.entry for pin in pins)))


Turned = Literal["backwards", "mirrored"]
"""How a print may have been scanned: from its tail, or with its emulsion the other way."""


def turned_round(desk: Desk, one: Version, other: Version) -> Turned | None:
    """Return how `other` shows most of what `one` shows where it is turned; None where it does neither way.

    Asked where two that should be alike share nothing. Nothing is said of it in the ledger.
    """
    from relay.programme.alignment.aligning import frame_map_between

    here, there = thumbnails_of(desk, one), thumbnails_of(desk, other)
    views: dict[Turned, Grey] = {"backwards": there.grey[::-1], "mirrored": there.grey[:, :, ::-1]}
    for turned, grey in views.items():
        found = frame_map_between((one.name, other.name), (here.numbers, here.grey), (there.numbers, grey))
        shared = [run for run in found.there.runs if run.other is not None and not run.alike]
        if 2 * sum(run.length for run in shared) > min(len(here.numbers), len(there.numbers)):
            return turned
    return None


def to_align(state: State) -> list[tuple[Version, Version]]:
    """Return the pairs of prints that a worker puts side by side: reels of one name, of two elements.

    Each by its newest version with thumbnails; again where there is a newer one, or other pins.
    """
    reels = [ReelName(reel) for reel in state.newest]
    seen = [version for reel in sorted(reels) if (version := _newest_seen(state, reel)) is not None]
    parts: dict[str, list[Version]] = {}
    for version in seen:
        parts.setdefault(reel_of(version.name).partition("/")[2], []).append(version)
    pairs = (pair for prints in parts.values() for pair in combinations(prints, 2))
    return [(one, other) for one, other in pairs if not _is_done(state, one, other)]


def _newest_seen(state: State, reel: ReelName) -> Version | None:
    of_reel = reversed(state.of_reel(reel))
    return next((each for each in of_reel if each.inspections and each.inspections[-1].thumbnails), None)


def _is_done(state: State, one: Version, other: Version) -> bool:
    pins = tuple(sorted(pin.entry for pin in pins_between(state, reel_of(one.name), reel_of(other.name))))
    return any(_is_of(each, one, other) and each.pins == pins for each in state.alignments)


def _is_of(said: Alignment, one: Version, other: Version) -> bool:
    return {said.one, said.other} == {one.name, other.name}
