"""Where every frame of the programme comes from: print by print, made new, or missing. Values only; reads nothing.

Each frame of the programme counts once, for whoever lent what it shows. Under a dissolve it shows two frames, so it
counts half for each, however much of either is seen; mixed with black, it counts whole for the picture. What was made
for the restoration is an element of the kind `restored programme`; what names no reel of the production, or a frame
that its reel is known to lack, is what no print had.
"""

from collections.abc import Container, Iterable, Iterator, Mapping
from enum import StrEnum
from fractions import Fraction
from itertools import groupby, pairwise
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
    share: Fraction = Fraction(1)
    """How much of each frame counts: a half under a dissolve, where another run has the other half."""
    shown: tuple[int, ...] = ()
    """The reel's frame that it shows at each place."""

    @property
    def counts(self) -> Fraction:
        """How many frames of the programme it stands for."""
        return (self.programme.last - self.programme.first + 1) * self.share


def provenance(
    cut: CutList,
    film: Production,
    held: Mapping[ReelName, frozenset[int]] | None = None,
    places: Container[int] | None = None,
) -> tuple[Run, ...]:
    """Return the programme from its first frame to its last as runs, without a hole; two overlap under a dissolve.

    With `places`, only those frames of it, counted from 0. `held` tells which frames versions of a reel hold; of a reel
    that it does not name, every frame is believed.
    """
    known = _Known(film, held or {}, places)
    at, runs = 0, list[Run]()
    for before, event in pairwise((None, *cut.events)):
        if event is None:
            continue
        coming, over = [*event.shown(cut.rate)], 0
        if before is not None and event.dissolve and not event.fades and not _is_black(before):
            over = event.dissolve
            share = Fraction(1) if _is_black(event) else Fraction(1, 2)
            runs += known.runs(before, before.runs_on(over, cut.rate), at, share)
            if share < 1:
                runs += known.runs(event, coming[:over], at, share)
        runs += known.runs(event, coming[over:], at + over)
        at += event.length
    return tuple(runs)


def _is_black(event: Event) -> bool:
    return event.is_slate and not event.title


_Places = list[tuple[int, Shown, Origin]]


class _Known:
    def __init__(
        self, film: Production, held: Mapping[ReelName, frozenset[int]], wanted: Container[int] | None
    ) -> None:
        self._elements = {reel: film.element_of(reel) for reel in film.reel_names()}
        self._held = held
        self._wanted = wanted

    def origin(self, event: Event, shown: Shown) -> Origin:
        if event.is_slate:
            return Origin.NEW if event.title else Origin.MISSING
        element = self._elements.get(shown.reel)
        if element is None or shown.frame not in self._held.get(shown.reel, (shown.frame,)):
            return Origin.MISSING
        return Origin.NEW if element.kind is ElementKind.RESTORED_PROGRAMME else Origin.PRINT

    def runs(self, event: Event, frames: Iterable[Shown], at: int, share: Fraction = Fraction(1)) -> Iterator[Run]:
        """Yield what an event shows from the programme's place `at` on, run by run."""
        wanted = ((place, each) for place, each in enumerate(frames, at) if self._is_wanted(place))
        shown = [(place, each, self.origin(event, each)) for place, each in wanted]
        on_end = groupby(enumerate(shown), key=lambda each: (each[1][0] - each[0], each[1][2]))
        for (_, origin), group in on_end:
            yield self._run(origin, [each for _, each in group])._replace(share=share)

    def _is_wanted(self, place: int) -> bool:
        return self._wanted is None or place in self._wanted

    def _run(self, origin: Origin, places: _Places) -> Run:
        frames, reel = [shown.frame for _, shown, _ in places], places[0][1].reel
        element = self._elements.get(reel)
        return Run(
            programme=FrameRange(first=places[0][0], last=places[-1][0]),
            origin=origin,
            reel=None if element is None else reel,
            source=None if element is None else FrameRange(first=min(frames), last=max(frames)),
            holder=element.holder if element and origin is Origin.PRINT else None,
            shown=() if element is None else tuple(frames),
        )


class Shares(NamedTuple):
    """How many frames of the programme come from whom; together they are all of it."""

    holders: Mapping[str, Fraction]
    made_new: Fraction
    missing: Fraction

    @property
    def total(self) -> Fraction:
        """All of the programme's frames."""
        return sum(self.holders.values()) + self.made_new + self.missing


def shares(runs: tuple[Run, ...], film: Production) -> Shares:
    """Return how the programme's frames divide; an archive of which nothing is shown has none."""
    holders = {
        element.holder: Fraction(0) for element in film.elements if element.kind is not ElementKind.RESTORED_PROGRAMME
    }
    for run in runs:
        if run.holder is not None:
            holders[run.holder] += run.counts
    return Shares(
        holders,
        sum((run.counts for run in runs if run.origin is Origin.NEW), Fraction(0)),
        sum((run.counts for run in runs if run.origin is Origin.MISSING), Fraction(0)),
    )


def of_reel(runs: tuple[Run, ...], reel: ReelName) -> Iterator[Run]:
    """Yield the runs that show `reel`, in the programme's order."""
    return (run for run in runs if run.reel == reel)
