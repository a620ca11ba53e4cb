"""A place that something can be said about: the programme, an element, a reel, or frames of either."""

from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from relay.model.frames import FrameRange
from relay.model.names import Frozen, ReelName

PROGRAMME = "programme"
"""The whole restored film; with frames, a shot of it. Its frames are counted from 0, as the cut list has them."""


class Place(Frozen):
    """The programme, an element (`A`), a reel (`A/R03`), or frames of the programme or of a reel."""

    about: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,24}(/[A-Za-z0-9_-]{1,24})?$")]
    frames: Annotated[tuple[FrameRange, ...], Field(max_length=100)] = ()
    """In the reel's own numbers, or the programme's. Empty: all of it."""

    @model_validator(mode="after")
    def _has_frames(self) -> Self:
        if self.frames and self.reel is None and not self.is_programme:
            raise ValueError(f"frames belong to a reel or to the programme, and {self.about} is an element")
        return self

    @property
    def is_programme(self) -> bool:
        return self.about == PROGRAMME

    @property
    def reel(self) -> ReelName | None:
        return ReelName(self.about) if "/" in self.about else None

    def touches(self, other: "Place") -> bool:
        """Answer whether a word about one of the two is a word about the other, too.

        What is said of an element is said of its reels, and what is said of a reel of its frames; the other way round
        as well, since whoever asks about an element asks about all of it.
        """
        if self.about != other.about:
            return self.about == other.about.partition("/")[0] or other.about == self.about.partition("/")[0]
        if not self.frames or not other.frames:
            return True
        return any(a.first <= b.last and b.first <= a.last for a in self.frames for b in other.frames)

    def __str__(self) -> str:
        return self.about + (":" + ",".join(str(each) for each in self.frames) if self.frames else "")
