"""From what was seen of each frame to findings about the run. Pure.

Frames are judged against most of their own run: a run has no other witness of how it should be.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from relay.media.asked import Asked
from relay.media.edges import Edge, edge, jumps
from relay.media.findings import Finding, Kind, Run
from relay.media.ruling import Rules
from relay.media.seen import Seen
from relay.model import FrameRange, ranges_of

Frames = Mapping[int, Seen]
"""By the numbers in the files' names, in order."""


class Judge:
    """Judges one run of frames."""

    def __init__(self, name: str, kind: str, frames: Frames, asked: Asked, rules: Rules) -> None:
        self._name = name
        self._kind = kind
        self._frames = frames
        self._good = {number: seen for number, seen in frames.items() if not seen.fault}
        self._asked = asked
        self._rules = rules
        self._measure = rules.measure

    def run(self) -> Run:
        """Return how most frames of the run are."""
        usual = {name: _most(getattr(seen, name) for seen in self._good.values()) for name, _, _ in _LIKENESS}
        rate = _most(seen.rate for seen in self._good.values())
        edges = (f"{s.edge_roll} {s.edge_count:04d}+{s.edge_offset:02d}" for s in self._good.values() if _edge(s))
        numbers = list(self._frames)
        return Run(
            name=self._name,
            kind=self._kind,
            first=numbers[0],
            last=numbers[-1],
            count=len(numbers),
            rate=rate,
            edge_code=next(edges, ""),
            **{name: found for name, found in usual.items() if found is not None},
        )

    def findings(self) -> Iterator[Finding]:
        """Yield all that is wrong with the run's frames."""
        yield from self.faults()
        for name, kind, noun in _LIKENESS:
            yield from self._unlike(name, kind, noun)
        yield from self._unlike("rate", Kind.RATE, "frame rate")
        yield from self._not_as_asked()
        yield from self._pictures()
        yield from self._positions()
        yield from self._counts()
        yield from self._speed()
        yield from self._edge_code()

    def _found(self, kind: Kind, numbers: set[int], what: str, sure: float = 1.0, lacking: int = 0) -> Finding:
        return Finding(
            kind=kind,
            grade=self._rules.grade[kind],
            where=self._name,
            frames=ranges_of(numbers),
            sure=sure,
            what=what,
            lacking=lacking,
        )

    def faults(self) -> Iterator[Finding]:
        """Yield the frames that cannot be read to their end."""
        for kind, is_short in ((Kind.TRUNCATED, True), (Kind.UNREADABLE, False)):
            by_words: dict[str, set[int]] = {}
            for number, seen in self._frames.items():
                if seen.fault and seen.is_short is is_short:
                    by_words.setdefault(seen.fault, set()).add(number)
            for words, numbers in by_words.items():
                yield self._found(kind, numbers, f"{words}: copy or scan these frames again")

    def _unlike(self, name: str, kind: Kind, noun: str) -> Iterator[Finding]:
        usual = _most(getattr(seen, name) for seen in self._good.values())
        others: dict[Any, set[int]] = {}
        for number, seen in self._good.items():
            found = getattr(seen, name)
            if found not in {usual, None} or (found is None and usual is not None and kind is not Kind.RATE):
                others.setdefault(found, set()).add(number)
        for found, numbers in others.items():
            yield self._found(kind, numbers, f"{noun} {_shown(found)}, where the rest has {_shown(usual)}")

    def _not_as_asked(self) -> Iterator[Finding]:
        wanted = self._asked.picture.model_dump(exclude_none=True) if self._asked.picture else {}
        kind = wanted.pop("kind", self._kind)
        if kind != self._kind.replace("tiff", "tif"):
            yield self._found(
                Kind.NOT_AS_ASKED, set(self._frames), f"found {self._kind}, the production asked for {kind}"
            )
        for name, asked in wanted.items():
            wrong: dict[Any, set[int]] = {}
            for number, seen in self._good.items():
                if getattr(seen, name) != asked:
                    wrong.setdefault(getattr(seen, name), set()).add(number)
            for found, numbers in wrong.items():
                words = f"{name} {_shown(found)}, the production asked for {_shown(asked)}"
                yield self._found(Kind.NOT_AS_ASKED, numbers, words)

    def _pictures(self) -> Iterator[Finding]:
        black = {number for number, seen in self._good.items() if self._is_black(seen)}
        clear = {number for number, seen in self._good.items() if self._is_clear(seen)}
        for run in ranges_of(black):
            yield self._found(Kind.BLACK, _in(run), f"{_frames(run)} black from edge to edge", 0.95)
        for run in ranges_of(clear):
            yield self._found(Kind.CLEAR, _in(run), f"{_frames(run)} clear film, with no picture", 0.95)
        yield from self._again(black | clear)

    def _is_black(self, seen: Seen) -> bool:
        is_density = seen.transfer in _DENSITIES
        below = self._measure.black_below if is_density else self._measure.linear_black_below
        return seen.light <= below and seen.light - seen.dark <= self._measure.flat_within

    def _is_clear(self, seen: Seen) -> bool:
        return seen.dark >= self._measure.clear_above and seen.light - seen.dark <= self._measure.flat_within

    def _again(self, blank: set[int]) -> Iterator[Finding]:
        """Find what is shown again: several times on end it is frozen, else repeated."""
        shown: dict[str, int] = {}
        runs: list[list[int]] = []
        elsewhere: dict[int, int] = {}
        before: tuple[int, str] | None = None
        for number, seen in self._good.items():
            if number in blank:
                before = None
                continue
            if before and before[1] == seen.mark:
                runs[-1].append(number)
            else:
                runs.append([number])
                if seen.mark in shown:
                    elsewhere[number] = shown[seen.mark]
            shown.setdefault(seen.mark, number)
            before = (number, seen.mark)
        yield from self._runs_on_end(runs)
        yield from self._elsewhere(elsewhere, runs)

    def _runs_on_end(self, runs: list[list[int]]) -> Iterator[Finding]:
        for run in (run for run in runs if len(run) > 1):
            kind = Kind.FROZEN if len(run) >= self._measure.frozen_frames else Kind.REPEATED
            words = f"the same picture as {run[0]}, to the last bit: did the scanner stand still?"
            yield self._found(kind, set(run[1:]), words, 0.99)

    def _elsewhere(self, elsewhere: dict[int, int], runs: list[list[int]]) -> Iterator[Finding]:
        """Join frames that repeat an earlier stretch in its own order."""
        whole = {run[0]: run for run in runs}
        stretches: list[tuple[int, list[int]]] = []
        for number, first in sorted(elsewhere.items()):
            numbers = whole.get(number, [number])[:1]
            last = stretches[-1] if stretches else None
            if last and last[1][-1] + 1 == number and first - last[0] == number - last[1][0]:
                last[1].extend(numbers)
            else:
                stretches.append((first, numbers))
        for first, numbers in stretches:
            yield self._found(
                Kind.REPEATED, set(numbers), f"the same picture as from {first} on, to the last bit", 0.99
            )

    def _positions(self) -> Iterator[Finding]:
        apart = {number: number - seen.position for number, seen in self._good.items() if seen.position is not None}
        usual = _most(apart.values())
        wrong = {number for number, found in apart.items() if found != usual}
        if wrong and usual is not None and len(wrong) <= len(apart) // 2:
            words = f"the headers' frame position and the files' numbers part: expected number minus {usual}"
            yield self._found(Kind.POSITION, wrong, words)
        elif wrong:
            yield self._found(
                Kind.POSITION, set(apart), "the headers' frame positions do not follow the files' numbers"
            )

    def _counts(self) -> Iterator[Finding]:
        told = {number: seen.length for number, seen in self._good.items() if seen.length is not None}
        usual = _most(told.values())
        wrong = {number for number, found in told.items() if found != usual}
        if wrong:
            yield self._found(Kind.COUNT, wrong, f"the headers count another number of frames than the rest, {usual}")
        numbers = list(self._frames)
        span = numbers[-1] - numbers[0] + 1
        if usual is not None and usual not in {span, len(numbers)}:
            whole = set(told) - wrong
            yield self._found(Kind.COUNT, whole, f"the headers count {usual} frames, the files are {len(numbers)}")

    def _speed(self) -> Iterator[Finding]:
        usual, asked = _most(seen.rate for seen in self._good.values()), self._asked.rate
        if usual is not None and asked is not None and abs(usual - float(asked)) > 0.01:
            numbers = {number for number, seen in self._good.items() if seen.rate == usual}
            words = f"the headers say {usual:g} frames a second, the element runs at {float(asked):g}"
            yield self._found(Kind.RATE, numbers, words)

    def _edge_code(self) -> Iterator[Finding]:
        """Compare how far the edge code goes from frame to frame with how far the numbers go."""
        gauge = self._asked.gauge
        if gauge is None or not gauge.perforations_per_count:
            return
        edges = ((number, _edge(seen)) for number, seen in self._good.items())
        for jump in jumps(edges, gauge):
            if lacking := jump.lacking(self._measure.edge_gap_frames):
                words = f"the edge code goes on as if {lacking} frames were cut out ahead of {jump.at}"
                yield self._found(Kind.EDGE_GAP, {jump.at}, words, 0.9, lacking)
            else:
                gone = jump.at - jump.before
                words = f"the edge code moves {jump.moved} frames from {jump.before} to {jump.at}: expected {gone}"
                yield self._found(Kind.EDGE_CODE, {jump.at}, words, 0.9)


_LIKENESS: tuple[tuple[str, Kind, str], ...] = (
    ("width", Kind.SIZE, "width"),
    ("height", Kind.SIZE, "height"),
    ("bits", Kind.DEPTH, "bits a sample"),
    ("channels", Kind.CHANNELS, "channels"),
    ("packing", Kind.PACKING, "packing"),
    ("transfer", Kind.TRANSFER, "transfer"),
    ("orientation", Kind.ORIENTATION, "orientation"),
)
_DENSITIES = {"printing density", "logarithmic", "user-defined"}


def _most(found: Any) -> Any:
    """Return what occurs most often, of equals the first; None where nothing does."""
    counted = Counter(each for each in found if each is not None)
    return counted.most_common(1)[0][0] if counted else None


def _shown(found: object) -> str:
    return "none" if found in {None, ""} else str(found)


def _frames(run: FrameRange) -> str:
    count = run.last - run.first + 1
    return f"{count} {'frame is' if count == 1 else 'frames are'}"


def _in(run: FrameRange) -> set[int]:
    return set(range(run.first, run.last + 1))


def _edge(seen: Seen) -> Edge | None:
    return edge(seen.edge_roll, seen.edge_count, seen.edge_offset)
