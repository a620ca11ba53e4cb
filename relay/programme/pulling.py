"""Pull lists: what a cut list needs from each reel, with handles, joined where near; what a re-cut changes. Pure."""

import csv
import io
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from typing import NamedTuple

from relay.model import FrameRange, ReelName, frame_count, inside, merged, outside, without
from relay.programme.cutlist import CutList, Event
from relay.programme.edl import edl

HANDLES = 8
"""Frames ahead of and after each shot, common practice: room to move a cut."""
NEAR = 24
"""Frames between two pulls that are pulled, too: one run is less work than two."""

Ranges = tuple[FrameRange, ...]


class Pull(NamedTuple):
    """What is pulled from one reel."""

    reel: ReelName
    shown: Ranges
    """What the programme shows."""
    ranges: Ranges
    """What is pulled: with handles, joined where near, and only what there is."""
    lacking: Ranges
    """What the programme shows and nobody has."""

    @property
    def frames(self) -> int:
        """How many frames are pulled."""
        return frame_count(self.ranges)


def pull_list(
    cut_list: CutList,
    handles: int = HANDLES,
    near: int = NEAR,
    held: Mapping[ReelName, Ranges] | None = None,
) -> tuple[Pull, ...]:
    """Return what the list needs from each reel, by the reels' names. `held` None: every frame is there."""
    pulls = []
    for reel, shown in sorted(cut_list.needed().items()):
        wide = merged(((each.first - handles, each.last + handles) for each in shown), near)
        if held is None:
            pulls.append(Pull(reel, shown, wide, ()))
            continue
        there = held.get(reel, ())
        parts = merged(part for each in wide for part in inside((each.first, each.last), there))
        pulls.append(Pull(reel, shown, parts, without(shown, there)))
    return tuple(pulls)


def hours(frames: int, an_hour: int) -> Fraction:
    """Return how many hours of work `frames` are at `an_hour` frames an hour."""
    return Fraction(frames, an_hour)


def pull_edl(pull: Pull, rate: Fraction) -> str:
    """Return one reel's pull list as an edit list: its ranges one after the other, each frame once."""
    events = tuple(Event(pull.reel, each.first, each.last - each.first + 1, rate) for each in pull.ranges)
    return edl(CutList(rate, events), f"pull {pull.reel}")


def as_csv(rows: Iterable[Mapping[str, object]], heads: Iterable[str]) -> str:
    """Return rows as RFC 4180 has them."""
    sheet = io.StringIO()
    writer = csv.DictWriter(sheet, list(heads), extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return sheet.getvalue()


class Difference(NamedTuple):
    """What a re-cut changes on one reel."""

    reel: ReelName
    fetch: Ranges
    """Pulled now and not before."""
    process: Ranges
    """Shown now and not before: to be worked on, though handles of before may hold it already."""
    drop: Ranges
    """Shown before and not now."""


class Recut(NamedTuple):
    """A re-cut list against the list before it."""

    reels: tuple[Difference, ...]
    """Those on which something changes."""
    anew: Ranges
    """Places of the new programme that show something else than the same places did."""
    kept: int
    """Frames of reels that both show."""


def recut(before: CutList, now: CutList, handles: int = HANDLES, near: int = NEAR) -> Recut:
    """Return what there is to do when `before` becomes `now`."""
    old, new = ({each.reel: each for each in pull_list(cut, handles, near)} for cut in (before, now))
    reels, kept = [], 0
    for reel in sorted({*old, *new}):
        was, shall = (pulls.get(reel, Pull(reel, (), (), ())) for pulls in (old, new))
        process = without(shall.shown, was.shown)
        kept += frame_count(shall.shown) - frame_count(process)
        reels.append(Difference(reel, without(shall.ranges, was.ranges), process, without(was.shown, shall.shown)))
    changed = tuple(each for each in reels if each.fetch or each.process or each.drop)
    return Recut(changed, merged(_anew(before, now)), kept)


def _anew(before: CutList, now: CutList) -> Iterable[tuple[int, int]]:
    """Yield the places that show something else, by ranges."""
    stood, old = set(_stands(before)), list(before.laid()) if before.rate == now.rate else []
    begins = [place for place, _ in old]
    for (place, event), stands in zip(now.laid(), _stands(now), strict=True):
        if stands not in stood:
            there = old[max(0, bisect_right(begins, place) - 1) : bisect_left(begins, place + event.length)]
            same = [part for at, was in there for part in _goes_on((place, event), (at, was), now.rate)]
            yield from outside((place, place + event.length - 1), merged(same))


def _goes_on(new: tuple[int, Event], old: tuple[int, Event], rate: Fraction) -> Iterator[tuple[int, int]]:
    """Yield the places at which both show the same frame in the same step of its pattern, and nothing mixes."""
    (place, event), (at, was) = new, old
    first = max(place + event.dissolve, at + was.dissolve)
    last = min(place + event.length, at + was.length) - 1
    is_same = (event.reel, event.speed) == (was.reel, was.speed) and first <= last
    if is_same and _position(event, first - place, rate) == _position(was, first - at, rate):
        yield first, last


def _position(event: Event, step: int, rate: Fraction) -> Fraction:
    """Return where an event is on its reel after so many places."""
    return event.first + event.into + step * event.speed / rate


def _stands(cut: CutList) -> Iterator[tuple[object, ...]]:
    """Yield what makes each event the same one again: its place, what it shows, and what it dissolves from."""
    before: tuple[object, ...] = ()
    for place, event in cut.laid():
        mix = event.dissolve, event.fades, event.wipe
        seen = (cut.rate, event.reel, event.first, event.length, event.speed, event.into, mix)
        yield place, seen, before if event.dissolve else ()
        before = seen
