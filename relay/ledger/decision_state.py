"""What the ledger means for decisions and for the end of a production: frozen records. Values only; reads nothing."""

from dataclasses import dataclass
from datetime import datetime

from relay.ledger.decision_words import DecisionMade
from relay.model import Digest, FrameRange, VersionName


@dataclass(frozen=True)
class Decision:
    """What was decided, and by which site, when."""

    word: DecisionMade
    by: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class Comparison:
    """A version beside what was left as it is."""

    decision: int
    version: VersionName
    compared: int
    """Frames."""
    flagged: tuple[FrameRange, ...]
    crops: Digest | None
    by: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class Judgement:
    """What a person said about a comparison's crops."""

    decision: int
    version: VersionName
    stands: bool
    because: str
    person: str | None
    by: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class Closing:
    """An export of the whole production."""

    export: Digest
    finals: tuple[VersionName, ...]
    files: int
    size: int
    by: str
    entry: int
    time: datetime
