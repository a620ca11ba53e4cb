"""Compares later versions with what is left as it is, frames from the store: no stage, nothing fetched to keep.

The coordinator's worker does it, once for each version and region. What it finds is a question to a person.
"""

import logging

from relay.ledger.left import to_compare
from relay.model import VersionName
from relay.transfer.desk import Desk
from relay.transfer.keeping import can_compare, compare_by_worker
from relay.wording import in_words

LOG = logging.getLogger("relay.workers")
Regional = tuple[int, VersionName]
"""The entry that leaves a region as it is, and a later version."""


def regions_owed(desk: Desk) -> list[Regional]:
    """Return what this site should compare now; nothing where the libraries are lacking."""
    state = desk.ledger.state
    if state.production is None or state.production.coordinator != desk.site or not can_compare():
        return []
    return [(decision.entry, version) for decision, version in to_compare(state)]


def compare_owed(desk: Desk, what: Regional) -> None:
    """Compare, and say what was found. Raises what `compare_by_worker` raises."""
    found = compare_by_worker(desk, *what).comparison
    lost = f"seems to have lost it in {in_words(found.flagged, 4)}" if found.flagged else "seems to have it"
    LOG.info(
        "%s compared %s with what entry %d leaves as it is: %s",
        desk.site,
        found.version,
        found.decision,
        lost if found.compared else "it holds none of those frames",
    )
