"""Where every frame of the programme comes from: print by print, made new, or missing. Values only; reads nothing.

Each frame of the programme counts once, for whoever lent what it shows. What was made for the restoration is an element
of the kind `restored programme`; what names no reel of the production, or a frame that its reel is known to lack, is
what no print had.
"""

from collections.abc import Container, Iterator, Mapping
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from relay.model import ElementKind, FrameRange, Production, ReelName
from relay.programme.cutlist import CutList, Event, Shown


class Origin(StrEnum):
    """What a frame of the programme is made from."""

    PRINT = "print"
    NEW = "made new"
    MISSING = "missing"


class Run(NamedTuple):
    """Frames of the programme on end that come from one place."""

    programme: FrameRange
    """Counted from 0, both ends included."""
    origin: Origin
    reel: ReelName | None
    source: FrameRange | None
    """From the lowest to the highest of the reel's frames that it shows."""
    holder: str | None
    """The archive that lent it; None where nobody did."""

    @property
    def length(self) -> int:
        return self.programme.last - self.programme.first + 1


def provenance(
    cut: CutList,
    film: Production,
    held: Mapping[ReelName, frozenset[int]] | None = None,
    places: Container[int] | None = None,
) -> tuple[Run, ...]:
    """Return the programme from its first frame to its last as runs, without a hole or an overlap.

    With `places`, only those frames of it, counted from 0. `held` tells which frames versions of a reel hold; of a reel
    that it does not name, every frame is believed.
    """
    known = _Known(film, held or {})
    at, runs = 0, []
    for event in cut.events:
        wanted = ((place, each) for place, each in enumerate(event.shown(cut.rate), at) if _is_in(place, places))
        shown = [(place, each, known.origin(event, each)) for place, each in wanted]
        at += event.length
        on_end = groupby(enumerate(shown), key=lambda each: (each[1][0] - each[0], each[1][2]))
        runs += [known.run(origin, [each for _, each in group]) for (_, origin), group in on_end]
    return tuple(runs)


def _is_in(place: int, places: Container[int] | None) -> bool:
    return places is None or place in places


_Places = list[tuple[int, Shown, Origin]]


class _Known:
    def __init__(self, film: Production, held: Mapping[ReelName, frozenset[int]]) -> None:
        self._elements = {reel: film.element_of(reel) for reel in film.reel_names()}
        self._held = held

    def origin(self, event: Event, shown: Shown) -> Origin:
        if event.is_slate:
            return Origin.NEW if event.title else Origin.MISSING
        element = self._elements.get(shown.reel)
        if element is None or shown.frame not in self._held.get(shown.reel, (shown.frame,)):
            return Origin.MISSING
        return Origin.NEW if element.kind is ElementKind.RESTORED_PROGRAMME else Origin.PRINT

    def run(self, origin: Origin, places: _Places) -> Run:
        frames, reel = [shown.frame for _, shown, _ in places], places[0][1].reel
        element = self._elements.get(reel)
        return Run(
            programme=FrameRange(first=places[0][0], last=places[-1][0]),
            origin=origin,
            reel=None if element is None else reel,
            source=None if element is None else FrameRange(first=min(frames), last=max(frames)),
            holder=element.holder if element and origin is Origin.PRINT else None,
        )


class Shares(NamedTuple):
    """How many frames of the programme come from whom; together they are all of it."""

    holders: Mapping[str, int]
    made_new: int
    missing: int

    @property
    def total(self) -> int:
        return sum(self.holders.values()) + self.made_new + self.missing


def shares(runs: tuple[Run, ...], film: Production) -> Shares:
    """Return how the programme's frames divide; an archive of which nothing is shown has none."""
    holders = {element.holder: 0 for element in film.elements if element.kind is not ElementKind.RESTORED_PROGRAMME}
    for run in runs:
        if run.holder is not None:
            holders[run.holder] += run.length
    return Shares(
        holders,
        sum(run.length for run in runs if run.origin is Origin.NEW),
        sum(run.length for run in runs if run.origin is Origin.MISSING),
    )


def of_reel(runs: tuple[Run, ...], reel: ReelName) -> Iterator[Run]:
    """Yield the runs that show `reel`, in the programme's order."""
    return (run for run in runs if run.reel == reel)
