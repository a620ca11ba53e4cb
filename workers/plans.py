"""What the lanes of one site remember about plans; losing it costs one more plan."""

from dataclasses import dataclass
from datetime import datetime

from relay.ledger.notices import Notice


@dataclass
class Plans:
    """What was planned last."""

    next_at: float = 0.0
    """On the stopwatch: no plan of open jobs before that."""
    sequence: int = -1
    """The entry up to which the ledger was planned."""
    evening: datetime | None = None
    """The closing time for which people were told."""
    notices: tuple[Notice, ...] = ()
    """What people are told of it."""
