"""Prints in step, made: what is shown is brought, each pane with its numbers, as a movie or a still."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from relay.errors import MissingError, RefusedError
from relay.ledger.state import State
from relay.model import FrameRange, ReelName, VersionName, code_of, number_of, ranges_of, reel_of
from relay.programme.beside import Lacks, Part, after_of, along, part_of
from relay.programme.cutlist import CutList
from relay.programme.lacking import Print
from relay.transfer.aligned import Source, aligned_version, frames_of, print_of
from relay.transfer.desk import Desk
from relay.transfer.making import made
from relay.transfer.showing import bring_frames

if TYPE_CHECKING:
    from relay.media.beside import Pane, Seen

AT_ONCE = 4
"""Prints that are shown at a time."""


def of_reel(
    desk: Source, state: State, axis: VersionName, others: Sequence[VersionName], wanted: FrameRange | None
) -> tuple[Part, ...]:
    """Return the steps along `axis`, all of it or frames `wanted`, beside `others`; beside all it knows, for none.

    Raises RefusedError where they were not put side by side or are too many, and MissingError where nothing is shown.
    """
    one = print_of(desk, state, state.versions[axis], with_made=bool(others), with_among=True)
    names = tuple(others) or newest_beside(one)
    if not names:
        raise MissingError(f"{axis} was put beside no other print yet: there is nothing to show it with")
    if len(names) >= AT_ONCE:
        raise RefusedError(f"{axis} and {len(names)} others: at most four are shown at once, name up to three")
    try:
        part = part_of(one, names, wanted or FrameRange(first=one.held[0].first, last=one.held[-1].last))
    except ValueError as fault:
        raise RefusedError(str(fault)) from fault
    if not part.steps:
        raise MissingError(
            f"nothing is known of frames {wanted}, neither in {axis} nor in another print: show frames beside them too"
        )
    return (part,)


def newest_beside(one: Print) -> tuple[VersionName, ...]:
    """Return the other prints that `one` was put beside, each by its newest version that was, sorted."""
    newest = {reel_of(name): name for name in sorted(one.maps, key=number_of)}
    return tuple(sorted(newest.values()))


def of_programme(desk: Source, state: State, cut_list: CutList, codes: Sequence[str]) -> tuple[Part, ...]:
    """Return the steps through a programme, a lane for each of the elements `codes`; for none, for those it knows.

    Raises RefusedError, and MissingError where the list shows no reel that was sent.
    """
    prints: dict[ReelName, Print] = {}
    for reel in cut_list.needed():
        if state.of_reel(reel):
            version = aligned_version(state, reel)
            if frames_of(desk, version):
                prints[reel] = print_of(desk, state, version, with_among=True)
    known = {code_of(name) for one in prints.values() for name in (one.version, *one.maps)}
    chosen = tuple(codes) or tuple(sorted(known))
    if not 2 <= len(chosen) <= AT_ONCE:
        raise RefusedError(f"{len(chosen)} elements ({', '.join(chosen)}) to be shown: name two to four")
    try:
        parts = tuple(part for part in along(cut_list, prints, chosen) if part.steps)
    except ValueError as fault:
        raise RefusedError(str(fault)) from fault
    if not parts:
        raise MissingError("nothing that the list shows was sent yet: there is nothing to look at")
    return parts


def slated(parts: Sequence[Part]) -> list[int]:
    """Return for each lane how many steps show a slate."""
    steps = [step for part in parts for step in part.steps]
    return [sum(isinstance(step[lane], Lacks) for step in steps) for lane in range(len(parts[0].lanes))]


def shown_versions(parts: Sequence[Part]) -> tuple[VersionName, ...]:
    """Return every version that is seen, in the order in which it is."""
    return tuple(dict.fromkeys(name for part in parts for name in part.lanes if name is not None))


def make_beside(desk: Desk, state: State, parts: Sequence[Part], rate: Fraction, folder: Path, target: Path) -> Path:
    """Make what is to be `target`, a movie or by its name a still, in `folder`; return where it lies.

    Only what is shown is fetched. Raises RefusedError where it cannot be made, and BrokenError.
    """
    from relay.media.beside import Beside

    steps = [(part, at) for part in parts for at in range(len(part.steps))]
    if target.suffix.lower() == ".png":
        steps = steps[:1]
    lanes = [_lane(parts, lane) for lane in range(len(parts[0].lanes))]
    panes = tuple(_pane(desk, state, parts, lane, folder) for lane in range(len(lanes)))
    shown = tuple(tuple(_seen(part, at, lane, names) for lane, names in enumerate(lanes)) for part, at in steps)
    title = " beside ".join(pane.name for pane in panes)
    return made("relay.media.beside", Beside(rate=str(rate), panes=panes, steps=shown, title=title), folder, target)


def _seen(part: Part, at: int, lane: int, names: Sequence[VersionName]) -> "Seen":
    from relay.media.beside import Seen

    seen, name, sure = part.steps[at][lane], part.lanes[lane], (at, lane) not in part.unsure
    if name is None:
        return Seen(-1, 0)
    if isinstance(seen, Lacks):
        return Seen(-1, *seen, sure, after_of(part, at, lane))
    return Seen(names.index(name), seen, 0, sure)


def _lane(parts: Sequence[Part], lane: int) -> list[VersionName]:
    return list(dict.fromkeys(name for part in parts if (name := part.lanes[lane]) is not None))


def _pane(desk: Desk, state: State, parts: Sequence[Part], lane: int, folder: Path) -> "Pane":
    from relay.media.beside import Pane
    from relay.media.showing import Strip

    names = _lane(parts, lane)
    strips = []
    for number, name in enumerate(names):
        mine = [step[lane] for part in parts if part.lanes[lane] == name for step in part.steps]
        wanted = ranges_of({seen for seen in mine if not isinstance(seen, Lacks)})
        place = folder / f"lane{lane}-{number}"
        strips.append(bring_frames(desk, state.versions[name], wanted, place) or Strip(reel=reel_of(name)))
    element = state.film().element_of(reel_of(names[0])) if names else None
    shown_as = names[0] if len(names) == 1 else code_of(names[0]) if names else "-"
    gauge, title = (element.gauge, element.title) if element else ("35mm", "")
    return Pane(name=shown_as, gauge=gauge, strips=tuple(strips), names=tuple(names), title=title)
