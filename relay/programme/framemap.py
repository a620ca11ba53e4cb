"""Which frame of one print shows what a frame of another shows, how sure that is, and what either lacks. Pure.

A map speaks of two versions, each by its reel's own frame numbers. It says its piece both ways, since a print may hold
a frame twice: then two frames of one name the same frame of the other. Where it says nothing, nothing is known.
"""

import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from relay.model import FrameRange, ReelName, VersionField, VersionName, merged, reel_of

FORM = 1
RUNS = 200_000  # in one direction
FARTHEST = 10_000_000  # a frame's number, either way from 0
BODY_LIMIT = 32 * 1024 * 1024  # bytes of a stored map


class Match(NamedTuple):
    """What a map says of one frame."""

    other: int | None
    """The frame of the other print; None: it lacks this one."""
    chance: int
    """How likely that is, in percent."""
    sure: bool
    alike: bool = False
    """Its neighbours look the same: which of them it is nobody can see, so it counts as right anywhere among them."""


class Run(NamedTuple):
    """`length` frames from `first` on; they show the other print's frames from `other` on, or it lacks all of them."""

    first: int
    length: int
    other: int | None
    chance: int
    sure: bool
    alike: bool = False

    @property
    def last(self) -> int:
        """Return its last frame."""
        return self.first + self.length - 1

    def at(self, frame: int) -> Match:
        """Return what it says of `frame`, which it holds."""
        other = None if self.other is None else self.other + frame - self.first
        return Match(other, self.chance, self.sure, self.alike)


class Lacking(NamedTuple):
    """A range that the other print lacks."""

    frames: FrameRange
    certain: FrameRange | None
    """The part of it that is surely lacking; None where none is."""
    widest: FrameRange
    """As far as it may reach: the unsure frames to either side with it."""
    chance: int
    """The mean over its frames, in percent."""


class Insert(NamedTuple):
    """Frames of the other print that this one lacks, and where they belong."""

    frames: FrameRange
    """In the other print's numbers."""
    after: int | None
    """The frame of this print that they follow; None: they come before all of it."""
    certain: FrameRange | None
    """The part of them that is surely lacking; None where none is."""
    widest: FrameRange
    """As far as they may reach."""

    @property
    def sure(self) -> bool:
        """Answer whether all of them are surely lacking."""
        return self.certain == self.frames


def runs_of(said: Iterable[tuple[int, Match]]) -> tuple[Run, ...]:
    """Return frames, ascending, with what is said of each, as the fewest runs."""
    runs: list[Run] = []
    for frame, match in said:
        if runs and _goes_on(runs[-1], frame, match):
            runs[-1] = runs[-1]._replace(length=runs[-1].length + 1)
        else:
            runs.append(Run(frame, 1, *match))
    return tuple(runs)


def _goes_on(run: Run, frame: int, match: Match) -> bool:
    other = None if run.other is None else run.other + run.length
    return frame == run.first + run.length and match == (other, run.chance, run.sure, run.alike)


@dataclass(frozen=True)
class Way:
    """A map in one direction."""

    runs: tuple[Run, ...]

    def __post_init__(self) -> None:
        for here, then in pairwise(self.runs):
            if then.first <= here.last:
                raise ValueError(f"the run at frame {then.first} overlaps the one at {here.first}")
        for run in self.runs:
            if run.length < 1 or not 0 <= run.chance <= 100:
                raise ValueError(f"the run at frame {run.first} has {run.length} frames, {run.chance} % sure")

    @cached_property
    def _firsts(self) -> list[int]:
        return [run.first for run in self.runs]

    def at(self, frame: int) -> Match | None:
        """Return what is said of `frame`; None: nothing."""
        place = bisect_right(self._firsts, frame) - 1
        run = self.runs[place] if place >= 0 else None
        return run.at(frame) if run and frame <= run.last else None

    def said(self) -> Iterator[tuple[int, Match]]:
        """Yield every frame that something is said of."""
        return ((frame, run.at(frame)) for run in self.runs for frame in range(run.first, run.last + 1))

    def frames(self, *, matched: bool | None = None, sure: bool | None = None) -> tuple[FrameRange, ...]:
        """Return the frames spoken of; those that the other has or lacks, surely or not, where asked for."""
        wanted = [
            (run.first, run.last)
            for run in self.runs
            if (matched is None or (run.other is not None) == matched) and (sure is None or run.sure == sure)
        ]
        return merged(wanted)

    def alike(self) -> tuple[FrameRange, ...]:
        """Return the ranges in which nobody can tell frame from frame."""
        return merged((run.first, run.last) for run in self.runs if run.alike)

    def lacking(self) -> tuple[Lacking, ...]:
        """Return what the other print lacks, in order, with edges as doubtful as they are."""
        doubtful = merged((run.first, run.last) for run in self.runs if run.other is None or not run.sure or run.alike)
        return tuple(self._lacking(each, doubtful) for each in self.frames(matched=False))

    def _lacking(self, found: FrameRange, doubtful: tuple[FrameRange, ...]) -> Lacking:
        inside = [run for run in self.runs if found.first <= run.first and run.last <= found.last]
        certain = [(run.first, run.last) for run in inside if run.sure]
        widest = next(each for each in doubtful if each.first <= found.first and found.last <= each.last)
        chance = sum(run.chance * run.length for run in inside) // sum(run.length for run in inside)
        core = FrameRange(first=certain[0][0], last=certain[-1][1]) if certain else None
        return Lacking(found, core, widest, chance)


@dataclass(frozen=True)
class FrameMap:
    """Frames of `one` against frames of `other`: `there` speaks of those of `one`, `back` of those of `other`."""

    one: VersionName
    other: VersionName
    there: Way
    back: Way
    by: tuple[VersionName, ...] = ()
    """The prints that it goes by way of, where nobody put these two side by side."""

    @classmethod
    def built(
        cls,
        one: VersionName,
        other: VersionName,
        there: Mapping[int, Match],
        back: Mapping[int, Match] | None = None,
        frames: Iterable[int] = (),
    ) -> Self:
        """Return the map that says `there` of `one`'s frames.

        `back` is what it says of `other`'s. Left out, it is turned round: of several frames that show the same, the
        likeliest and first is named, and those of `frames`, the other print's, that none shows are lacking.
        """
        turned = back if back is not None else _turned(there, frames)
        return cls(one, other, Way(runs_of(sorted(there.items()))), Way(runs_of(sorted(turned.items()))))

    def inverse(self) -> "FrameMap":
        """Return the same map, seen from the other print."""
        return FrameMap(self.other, self.one, self.back, self.there, self.by[::-1])

    def reels(self) -> tuple[ReelName, ReelName]:
        """Return the reels that it speaks of."""
        return reel_of(self.one), reel_of(self.other)

    def inserts(self) -> tuple[Insert, ...]:
        """Return what `one` lacks and `other` has, each where it belongs among `one`'s frames."""
        found = []
        for lacking in self.back.lacking():
            before = self._before(lacking.frames.first)
            found.append(Insert(lacking.frames, before, lacking.certain, lacking.widest))
        return tuple(found)

    def _before(self, frame: int) -> int | None:
        earlier = [run for run in self.back.runs if run.first < frame and run.other is not None]
        return earlier[-1].at(earlier[-1].last).other if earlier else None

    def then(self, further: "FrameMap") -> "FrameMap":
        """Return the map from `one` to the print that `further`, which begins at `other`, leads to.

        Of what the print between lacks, it says nothing. Raises ValueError where the two do not meet.
        """
        if further.one != self.other:
            raise ValueError(f"the maps do not meet: one ends at {self.other}, the other begins at {further.one}")
        there, back = _through(self.there, further.there), _through(further.back, self.back)
        return FrameMap(self.one, further.other, there, back, (*self.by, self.other, *further.by))


def disagreements(one: FrameMap, other: FrameMap) -> tuple[FrameRange, ...]:
    """Return the frames of which two maps between the same prints say different things, both surely.

    Places where neighbours look the same count as agreed. Raises ValueError where they are about other versions.
    """
    if (one.one, one.other) != (other.one, other.other):
        raise ValueError(f"maps of {one.one} to {one.other} and of {other.one} to {other.other} cannot be compared")
    return merged((frame, frame) for frame, match in one.there.said() if _differs(match, other.there.at(frame)))


def _differs(match: Match, against: Match | None) -> bool:
    return (
        against is not None
        and match.sure
        and against.sure
        and not (match.alike or against.alike)
        and match.other != against.other
    )


def _turned(there: Mapping[int, Match], frames: Iterable[int]) -> dict[int, Match]:
    back: dict[int, Match] = {}
    for frame, match in sorted(there.items()):
        if match.other is None:
            continue
        held = back.get(match.other)
        if held is None or held.chance < match.chance:
            back[match.other] = match._replace(other=frame)
    lacking = all(match.sure for match in there.values())
    for frame in frames:
        back.setdefault(frame, Match(None, 100 if lacking else 50, lacking))
    return back


def _through(first: Way, second: Way) -> Way:
    said = ((frame, second.at(match.other), match) for frame, match in first.said() if match.other is not None)
    return Way(runs_of((frame, _both(match, on)) for frame, on, match in said if on is not None))


def _both(match: Match, on: Match) -> Match:
    return Match(on.other, match.chance * on.chance // 100, match.sure and on.sure, match.alike or on.alike)


_Line = tuple[int, int, int | None, int, bool, bool]


class _Stored(BaseModel):
    model_config = ConfigDict(frozen=True, strict=True, extra="forbid")

    relay_frame_map: int = Field(ge=FORM, le=FORM)
    one: VersionField
    other: VersionField
    there: list[_Line] = Field(max_length=RUNS)
    back: list[_Line] = Field(max_length=RUNS)

    @model_validator(mode="after")
    def _is_bounded(self) -> Self:
        for line in (*self.there, *self.back):
            first, count, other = line[:3]
            ends = (first, first + count, *(() if other is None else (other, other + count)))
            if count < 1 or not all(-FARTHEST <= end <= FARTHEST for end in ends):
                raise ValueError(f"the run {line[:3]} reaches beyond frame {FARTHEST}")
        return self


def stored_map(found: FrameMap) -> bytes:
    """Return the bytes that a map is stored as: JSON, equal for equal maps."""
    body = {
        "relay_frame_map": FORM,
        "one": found.one,
        "other": found.other,
        "there": [list(run) for run in found.there.runs],
        "back": [list(run) for run in found.back.runs],
    }
    return json.dumps(body, separators=(",", ":")).encode() + b"\n"


def parse_map(body: bytes) -> FrameMap:
    """Return the map that `body` holds. Raises ValueError where it is none, or larger than any film."""
    if len(body) > BODY_LIMIT:
        raise ValueError(f"a frame map of {len(body)} bytes: expected at most {BODY_LIMIT}")
    try:
        stored = _Stored.model_validate_json(body)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise ValueError(f"it is no frame map of form {FORM}: {where}: {first['msg']}") from error
    there, back = (Way(tuple(Run(*line) for line in lines)) for lines in (stored.there, stored.back))
    return FrameMap(stored.one, stored.other, there, back)
