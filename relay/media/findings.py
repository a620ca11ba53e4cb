"""What an inspection says: findings, each with its place, how sure it is and how bad, and the report of them all."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from relay.media.decay import Decayed
from relay.model import FrameRange, Frozen

FORM: Literal[1] = 1
"""The form of a stored report."""

Words = Annotated[str, Field(max_length=1000)]


class Kind(StrEnum):
    """What can be wrong with a package."""

    GAP = "gap"
    DOUBLE = "double"
    MIXED = "mixed"
    UNREADABLE = "unreadable"
    TRUNCATED = "truncated"
    SIZE = "size"
    DEPTH = "depth"
    CHANNELS = "channels"
    PACKING = "packing"
    TRANSFER = "transfer"
    ORIENTATION = "orientation"
    NOT_AS_ASKED = "not as asked"
    BLACK = "black"
    CLEAR = "clear"
    FROZEN = "frozen"
    REPEATED = "repeated"
    POSITION = "frame position"
    COUNT = "frame count"
    RATE = "frame rate"
    EDGE_CODE = "edge code"
    EDGE_GAP = "gap in the edge code"
    LENGTH = "length"
    SOUND_LENGTH = "sound length"
    CLIPPING = "clipping"
    SILENCE = "silence"


class Grade(StrEnum):
    """How bad a finding is."""

    BLOCKS = "blocks"
    """Nobody accepts this as it is."""
    WARNS = "warns"
    """Somebody should look."""


class Finding(Frozen):
    """One thing that is wrong, or may be."""

    kind: Kind
    grade: Grade
    where: str = ""
    """The run of frames (`frames/A_R01.#.dpx`) or the file."""
    frames: tuple[FrameRange, ...] = ()
    """In the numbers of the files' names; for sound and movies, in picture frames from 0 at the element's speed."""
    sure: Annotated[float, Field(ge=0, le=1)] = 1.0
    """1: it was read or measured; less: it is a judgement of the picture."""
    what: Words
    """Found, expected, and what to do."""
    lacking: Annotated[int, Field(ge=0)] = 0
    """For a gap in the edge code: how many frames the film lacks just before `frames`."""


class Run(Frozen):
    """A run of numbered frames, as most of its frames are."""

    name: str
    kind: str
    first: int
    last: int
    count: int
    width: int = 0
    height: int = 0
    bits: int = 0
    channels: int = 0
    packing: str = ""
    transfer: str = ""
    orientation: str = ""
    rate: float | None = None
    edge_code: str = ""
    """Of the first frame that has one, as the header writes it."""


class SoundTrack(Frozen):
    """A file of sound."""

    path: str
    samples: int
    rate: int
    """Samples a second."""
    channels: int
    form: str = ""
    seconds: float


class Movie(Frozen):
    """A movie file."""

    path: str
    frames: int
    width: int
    height: int
    rate: str = ""
    codec: str = ""


class Report(Frozen):
    """What was looked at, and what was found."""

    relay_inspection: Literal[1] = FORM
    runs: tuple[Run, ...] = ()
    sounds: tuple[SoundTrack, ...] = ()
    movies: tuple[Movie, ...] = ()
    documents: tuple[str, ...] = ()
    """Stills and papers: kept with the reel, not measured as film."""
    findings: tuple[Finding, ...] = ()
    looked_at: int = 0
    """Frames that were decoded."""
    decay: tuple[Decayed, ...] | None = None
    """Where the first run has decayed, in the numbers of the files' names. None: nobody looked for it."""

    def blocking(self) -> int:
        """Return how many findings block acceptance."""
        return sum(finding.grade is Grade.BLOCKS for finding in self.findings)

    def warning(self) -> int:
        """Return how many findings only warn."""
        return len(self.findings) - self.blocking()

    def encode(self) -> bytes:
        """Return the report as it is stored: JSON."""
        return self.model_dump_json(indent=1).encode() + b"\n"


def parse_report(body: bytes) -> Report:
    """Return the report that `body` is the stored form of. Raises ValueError."""
    return Report.model_validate_json(body)
