"""From what was heard of a sound, or seen of a movie, to findings. Pure."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from typing import Any

from relay.film.cadence import drift
from relay.media.findings import Finding, Kind, Run
from relay.media.ruling import Rules
from relay.model import FrameRange

STILL_SECONDS = 2
"""A movie may hold each picture several times; from this many seconds on it stands still."""


def sound_findings(
    path: str, heard: dict[str, Any], run: Run | None, rate: Fraction | None, rules: Rules
) -> Iterator[Finding]:
    """Yield what is wrong with a sound. `rate`: the picture's speed in frames a second, by which places are told."""

    def found(kind: Kind, what: str, frames: tuple[FrameRange, ...] = (), sure: float = 1.0) -> Finding:
        return Finding(kind=kind, grade=rules.grade[kind], where=path, what=what, frames=frames, sure=sure)

    if fault := heard.get("fault"):
        yield found(Kind.UNREADABLE, f"{fault}: make the sound again")
        return
    if short := heard.get("short"):
        yield found(Kind.TRUNCATED, f"{short}: copy the sound again")
    speed = rate or Fraction(24)
    for kind, runs, words in (
        (Kind.CLIPPING, heard["clipped"], "at full scale, several samples on end"),
        (Kind.SILENCE, heard["silent"], "silent"),
    ):
        if runs:
            places = tuple(_picture_frames(first, after, heard["rate"], speed) for first, after in runs)
            noun = "place is" if len(runs) == 1 else "places are"
            yield found(kind, f"{len(runs)} {noun} {words}; frames at {speed} a second", _joined(places), 0.95)
    if run is not None and rate is not None:
        frames = run.last - run.first + 1
        apart = drift(frames, rate, Fraction(heard["samples"], heard["rate"]), rate)
        if abs(apart) > rules.measure.sound_frames:
            longer = "longer" if apart < 0 else "shorter"
            words = (
                f"the sound is {float(abs(apart)):.1f} frames {longer} than the picture's {frames} at {rate} a second"
            )
            yield found(Kind.SOUND_LENGTH, words)


def _picture_frames(first: int, after: int, samples_per_second: int, rate: Fraction) -> FrameRange:
    return FrameRange(
        first=int(Fraction(first, samples_per_second) * rate), last=int(Fraction(after - 1, samples_per_second) * rate)
    )


def _joined(ranges: tuple[FrameRange, ...]) -> tuple[FrameRange, ...]:
    joined: list[FrameRange] = []
    for each in ranges:
        if joined and each.first <= joined[-1].last + 1:
            joined[-1] = FrameRange(first=joined[-1].first, last=max(joined[-1].last, each.last))
        else:
            joined.append(each)
    return tuple(joined)


def movie_findings(path: str, watched: dict[str, Any], rules: Rules) -> Iterator[Finding]:
    """Yield what is wrong with a movie; its pictures are counted from 0. What a copy says it lacks is none."""

    def found(kind: Kind, what: str, frames: tuple[FrameRange, ...] = (), sure: float = 0.9) -> Finding:
        return Finding(kind=kind, grade=rules.grade[kind], where=path, what=what, frames=frames, sure=sure)

    if fault := watched.get("fault"):
        yield found(Kind.UNREADABLE, f"{fault}: make the movie again", sure=1.0)
        return
    if short := watched.get("short"):
        yield found(Kind.TRUNCATED, f"{short}: copy the movie again", sure=1.0)
    measure, levels = rules.measure, watched["levels"]
    long = STILL_SECONDS * round(Fraction(watched["movie_rate"] or 24))

    def look(picture: tuple[float, float, str]) -> tuple[Kind, str]:
        dark, light, mark = picture
        if light - dark <= measure.flat_within and light <= measure.linear_black_below:
            return Kind.BLACK, ""
        if light - dark <= measure.flat_within and dark >= measure.clear_above:
            return Kind.CLEAR, ""
        return Kind.FROZEN, mark

    at = 0
    for (kind, _), group in groupby(levels, key=look):
        count = len(list(group))
        frames = FrameRange(first=at, last=at + count - 1)
        # A reference copy is black where it says that its reel lacks frames.
        is_told = kind is Kind.BLACK and any(first <= at and frames.last <= last for first, last in watched["gaps"])
        if not is_told and (kind is not Kind.FROZEN or count >= long):
            yield found(kind, f"{count} pictures on end", (frames,))
        at += count
