"""What the edge code of a package's frames says of gaps, read on the way, with no library for pictures."""

from collections.abc import Iterable

from relay.ledger.state import State
from relay.media.asked import asked_for
from relay.media.edges import EdgeReader
from relay.media.ruling import rules_of
from relay.model import ReelName, ScanMap, VersionName
from relay.transfer.desk import Desk


def edge_reader(
    desk: Desk,
    state: State,
    reel: ReelName,
    parents: Iterable[VersionName],
    scan_map: ScanMap | None,
    paths: Iterable[str],
) -> EdgeReader | None:
    """Return what reads the edge code of a package that is sent; None where no gap of it would be kept.

    That is so where a version that this was made from, or a map of several segments, ties its numbers already; and
    where the film has no edge code.
    """
    gauge = asked_for(state.film(), reel).gauge
    is_tied = any(state.versions[parent].scan_map for parent in parents)
    if scan_map is None or is_tied or len(scan_map.segments) > 1 or gauge is None or not gauge.perforations_per_count:
        return None
    return EdgeReader(paths, gauge, rules_of(desk.owed.parent).measure.edge_gap_frames)
