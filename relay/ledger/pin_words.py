"""What people say of single frames of two prints: frozen facts. Values only; reads nothing."""

from typing import Annotated, Literal

from pydantic import Field

from relay.model import Frozen, Line, Note, ReelField

FrameNumber = Annotated[int, Field(ge=-10_000_000, le=10_000_000)]


class PlacePinned(Frozen):
    """A person saw that a frame of one reel and a frame of another show the same. The next alignment keeps to it."""

    word: Literal["place-pinned"] = "place-pinned"
    one: ReelField
    frame: FrameNumber
    other: ReelField
    other_frame: FrameNumber | None = None
    """In the other reel's own numbers. None: the pin on `frame` counts no more."""
    person: Line | None = None
    note: Note = ""


class Pin(Frozen):
    """Two frames that a person says show the same, and the entry that says so."""

    one: ReelField
    frame: int
    other: ReelField
    other_frame: int
    by: str
    entry: int
