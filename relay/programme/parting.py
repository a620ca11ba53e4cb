"""How far picture and sound part along a reel, and at which speeds each locked stretch would fit. Reads nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from relay.programme.fitting import Mixture, Span, fitting_speeds, mixtures, named_in, simplest_in, within
from relay.programme.running import Laid, Scene, lay_out


class Point(NamedTuple):
    """How many frames of the programme the picture lies behind its sound in second `at` of the picture."""

    at: Fraction
    behind: Fraction
    """Negative where the picture is ahead: its scene ends before its sound does."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Scenes on end that together must last as long as their sound."""

    scenes: tuple[Laid, ...]
    sound: Fraction
    """Seconds of sound for them."""
    off: Fraction
    """Frames of the programme that they last longer than their sound."""
    span: Span | None
    """The speeds from 14 to 24 at which they would fit, all at one; None where none does."""
    named: tuple[Fraction, ...]
    """Whole and archive speeds among those, the nearest to `exact()` first."""
    simplest: Fraction | None
    mixed: tuple[Mixture, ...]

    @property
    def frames(self) -> int:
        """Return how many frames of film they have."""
        return sum(each.scene.frames for each in self.scenes)

    def exact(self) -> Fraction:
        """Return the one speed at which they would last exactly as long as their sound."""
        return self.frames / self.sound


@dataclass(frozen=True, slots=True)
class Parting:
    """A reel against its sound."""

    rate: Fraction
    """Frames of the programme a second."""
    tolerance: Fraction
    """Frames of the programme."""
    sound: Fraction
    """Seconds."""
    laid: tuple[Laid, ...]
    points: tuple[Point, ...]
    """At the beginning, and wherever a scene's end is held to its sound."""
    stretches: tuple[Stretch, ...]

    def picture(self) -> Fraction:
        """Return how many seconds the picture runs."""
        return self.laid[-1].ends()

    def behind_at(self, second: Fraction) -> Fraction:
        """Return how far the picture is behind in `second`, in frames; between two holds it changes evenly."""
        for one, other in pairwise(self.points):
            if one.at <= second <= other.at:
                gone = (second - one.at) / (other.at - one.at)
                return one.behind + gone * (other.behind - one.behind)
        return self.points[-1].behind

    def parts_at(self) -> Fraction | None:
        """Return the second from which on picture and sound lie further apart than the tolerance; None: nowhere."""
        for one, other in pairwise(self.points):
            if abs(other.behind) > self.tolerance:
                limit = self.tolerance if other.behind > 0 else -self.tolerance
                gone = (limit - one.behind) / (other.behind - one.behind)
                return one.at + gone * (other.at - one.at)
        return None

    def is_in_step(self) -> bool:
        """Answer whether picture and sound never part further than the tolerance."""
        return self.parts_at() is None


def parting(scenes: Sequence[Scene], sound: Fraction, rate: Fraction, tolerance: Fraction) -> Parting:
    """Return how `scenes` run against a sound of `sound` seconds; the last scene is held to the sound's end.

    `tolerance`: frames of a programme of `rate` frames a second. Raises ValueError where there is no scene or no
    sound, or where the scenes' holds do not go forward within the sound.
    """
    if not scenes or sound <= 0 or tolerance < 0:
        raise ValueError(
            f"{len(scenes)} scenes, {sound} s of sound, {tolerance} frames of tolerance: expected some of each"
        )
    laid = lay_out(scenes, rate)
    points, stretches, waiting = [Point(Fraction(0), Fraction(0))], [], []
    held = Fraction(0)
    for place, each in enumerate(laid):
        waiting.append(each)
        until = sound if place == len(laid) - 1 and each.scene.until is None else each.scene.until
        if until is None:
            continue
        if not held < until <= sound:
            raise ValueError(
                f"the sound of {each.scene.name!r} ends in second {float(until):g}: expected after {float(held):g}, "
                f"where the one before ends, and by {float(sound):g}, the sound's end"
            )
        points.append(Point(each.ends(), (each.ends() - until) * rate))
        stretches.append(_stretch(tuple(waiting), until - held, rate, tolerance))
        held, waiting = until, []
    return Parting(rate, tolerance, sound, laid, tuple(points), tuple(stretches))


def _stretch(scenes: tuple[Laid, ...], sound: Fraction, rate: Fraction, tolerance: Fraction) -> Stretch:
    lengths = [each.scene.frames for each in scenes]
    lasts = sum((each.scene.lasts() for each in scenes), Fraction(0))
    allowed = min(tolerance / rate, sound / 2)
    span = within(fitting_speeds(sum(lengths), sound, allowed))
    return Stretch(
        scenes=scenes,
        sound=sound,
        off=(lasts - sound) * rate,
        span=span,
        named=tuple(sorted(named_in(span), key=lambda speed: abs(speed - sum(lengths) / sound))) if span else (),
        simplest=simplest_in(span) if span else None,
        mixed=mixtures(lengths, sound, allowed),
    )
