"""Makes comparison copies that people asked for: no stage; of the prints, only what is shown is fetched.

The coordinator's worker does it, once for each entry that asks. What cannot be made is said, with why.
"""

import logging
from pathlib import Path

from relay.ledger.comparison_rules import comparisons_owed
from relay.ledger.comparison_words import ComparisonMade
from relay.media.eyes import has_media
from relay.transfer.comparison import answer_asked
from relay.transfer.desk import Desk

LOG = logging.getLogger("relay.workers")


def copies_owed(desk: Desk) -> list[int]:
    """Return the entries whose comparison copy this site should make now; none where the libraries are lacking."""
    state = desk.ledger.state
    if state.production is None or state.production.coordinator != desk.site or not has_media():
        return []
    return [asked.entry for asked in comparisons_owed(state)]


def make_copy(desk: Desk, entry: int, scratch: Path) -> None:
    """Make what `entry` asks for and say so, or why it cannot be. Raises TransientError."""
    said = answer_asked(desk, entry, scratch / f"comparison-{entry}")
    made = f"made, {said.steps} steps" if isinstance(said, ComparisonMade) else f"not made: {said.why}"
    LOG.info("%s: the comparison copy of entry %d is %s", desk.site, entry, made)
