"""Repeat patterns: which frame is shown when film of one speed runs at another, such as 18 frames a second at 24.

Output frame k shows input frame floor((k + phase) x source / target). With phase 0 the pattern of 16 to 24 is 2,1;
with phase 1/2, which looks at the middle of each output frame, it is 1,2, and the length is right to half an output
frame instead of one. Both sides are numbered from 0 and a frame's place is exact however far along it lies.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor
from typing import Final

LONGEST_PATTERN: Final = 50_000  # input frames


@dataclass(frozen=True, slots=True)
class Cadence:
    """How frames at `source` frames a second are repeated, or left out, to run at `target`."""

    source: Fraction
    target: Fraction
    phase: Fraction = Fraction(0)
    """Where in an output frame its input is taken, in output frames: from 0, its beginning, to below 1."""

    def __post_init__(self) -> None:
        if self.source <= 0 or self.target <= 0:
            raise ValueError(
                f"{self.source} to {self.target} is not a change of speed: expected frames a second above 0"
            )
        if not 0 <= self.phase < 1:
            raise ValueError(f"phase {self.phase} is out of range: expected 0 to below 1 output frame")

    @property
    def step(self) -> Fraction:
        """How many input frames go by in one output frame."""
        return self.source / self.target

    def input_at(self, output: int) -> int:
        """Return the input frame that output frame `output` shows."""
        return floor((output + self.phase) * self.step)

    def first_output_of(self, frame: int) -> int:
        """Return the first output frame that shows input `frame` or, where it is left out, the next shown one."""
        return ceil(frame / self.step - self.phase)

    def outputs_of(self, frame: int) -> range:
        """Return the output frames that show input `frame`; none where it is left out."""
        return range(self.first_output_of(frame), self.first_output_of(frame + 1))

    def length(self, frames: int) -> int:
        """Return how many output frames the first `frames` input frames take."""
        return self.first_output_of(frames)

    def repeats(self, first: int, after: int) -> Iterator[int]:
        """Yield how often each input frame from `first` to before `after` is shown."""
        bounds = map(self.first_output_of, range(first, after + 1))
        return (later - earlier for earlier, later in pairwise(bounds))

    def pattern(self) -> tuple[int, ...]:
        """Return how often each input frame is shown, until it begins again.

        Raises ValueError where that takes more than `LONGEST_PATTERN` frames.
        """
        period = self.step.numerator
        if period > LONGEST_PATTERN:
            raise ValueError(
                f"{self.source} to {self.target} begins again only after {period} frames: "
                f"expected at most {LONGEST_PATTERN}; ask for the repeats of a range of frames"
            )
        return tuple(self.repeats(0, period))

    def lag(self, output: int) -> Fraction:
        """Return how many input frames what is shown lies behind where the film would be; negative is ahead of it."""
        return output * self.step - self.input_at(output)


def drift(frames: int, rate: Fraction, seconds: Fraction, at: Fraction) -> Fraction:
    """Return how many frames, at `at` frames a second, a picture of `frames` at `rate` outlasts a sound of `seconds`.

    Negative where the picture ends first. With the running time of the same frames at another speed as `seconds`, it
    says how far two speeds part.
    """
    return (frames / rate - seconds) * at
