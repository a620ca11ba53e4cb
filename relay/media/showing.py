"""What a reference movie of a programme is made of, picture by picture: the order for `relay.media.playing`. Values."""

from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from relay.model import FrameRange, Frozen

PICTURES = 1_000_000
LINES = 540


class Strip(Frozen):
    """One reel's pictures at hand: a reference copy, or frame files by the reel's own numbers."""

    reel: str
    movie: str | None = None
    """The path of a reference copy that says in itself which frame each of its pictures shows."""
    files: dict[int, str] = Field(default_factory=dict)
    held: tuple[FrameRange, ...] = ()
    """The reel's frames that there is a picture of."""


class Shot(NamedTuple):
    """One picture of the movie: a frame of a strip, mixed with one of another; or a slate. -1 stands for none."""

    strip: int
    frame: int
    into: int = -1
    into_frame: int = 0
    share: float = 0.0
    """How much of the second, from 0 to 1."""
    slate: int = -1


class Slate(Frozen):
    """Words in the place of a picture."""

    kind: Literal["missing", "title"]
    lines: Annotated[tuple[str, ...], Field(max_length=8)]


class MovieOrder(Frozen):
    """The whole movie."""

    rate: str
    """Pictures a second."""
    lines: Annotated[int, Field(ge=120, le=2160, multiple_of=2)] = LINES
    strips: tuple[Strip, ...] = ()
    slates: tuple[Slate, ...] = ()
    shots: Annotated[tuple[Shot, ...], Field(min_length=1, max_length=PICTURES)]
    sound: str | None = None
    title: str = ""
