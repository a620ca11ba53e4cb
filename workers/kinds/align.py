"""Puts prints of one reel side by side, by the thumbnails that inspections left: no stage, no frames fetched.

The coordinator's worker does it, once for each two prints; again when one has a newer version that was looked at, or
when people pinned a place or lifted a pin.
"""

import logging

from relay.model import VersionName
from relay.transfer.aligning import align, has_programme, to_align
from relay.transfer.desk import Desk

LOG = logging.getLogger("relay.workers")
Pair = tuple[VersionName, VersionName]


def pairs_owed(desk: Desk) -> list[Pair]:
    """Return the versions that this site should put side by side now; none where the libraries are lacking."""
    state = desk.ledger.state
    if state.production is None or state.production.coordinator != desk.site or not has_programme():
        return []
    return [(one.name, other.name) for one, other in to_align(state)]


def align_pair(desk: Desk, pair: Pair) -> None:
    """Put two versions side by side, and say so. Raises what `align` raises."""
    state = desk.ledger.follow()
    _, entry = align(desk, *(state.versions[name] for name in pair))
    LOG.info("%s put %s and %s side by side, entry %s", desk.site, *pair, entry.sequence if entry else "-")
