"""Gaps in the edge code become gaps on the reel: the scan map that leaves room for what the film lacks. Pure."""

from itertools import pairwise

from relay.media.findings import Finding, Kind, Run
from relay.model import ScanMap, ScanSegment

Gap = tuple[int, int]
"""A number in the files' names, and how many frames the film lacks just ahead of it."""


def with_gaps(scan_map: ScanMap, first: int, gaps: list[Gap]) -> ScanMap:
    """Return a start mark's map with gaps in it, from the file numbered `first` on; any other map as it is."""
    (start, *others) = scan_map.segments
    reel = scan_map.reel_frame(first)
    if others or start.count is not None or reel is None or not gaps:
        return scan_map
    return _laid_out(first, reel, gaps)


def map_with_gaps(run: Run, findings: tuple[Finding, ...], reel: int = 0) -> ScanMap | None:
    """Return the map that gives each frame its number on the film as it was; None where the edge code has no gap.

    `reel`: the reel's number of the run's first frame.
    """
    gaps = sorted(
        (each.frames[0].first, each.lacking)
        for each in findings
        if each.kind is Kind.EDGE_GAP and each.where == run.name and each.frames
    )
    return _laid_out(run.first, reel, gaps) if gaps else None


def lacking(scan_map: ScanMap) -> int:
    """Return how many of the reel's frames lie in gaps between a map's segments."""
    steps = ((then.scan - here.scan, then.reel - here.reel) for here, then in pairwise(scan_map.segments))
    return sum(max(0, shown - scanned) for scanned, shown in steps)


def _laid_out(first: int, reel: int, gaps: list[Gap]) -> ScanMap:
    starts = [(first, reel)]
    for at, missing in gaps:
        last_scan, last_reel = starts[-1]
        starts.append((at, last_reel + at - last_scan + missing))
    counts = [then[0] - here[0] for here, then in pairwise(starts)]
    segments = tuple(
        ScanSegment(scan=scan, reel=shown, count=count)
        for (scan, shown), count in zip(starts, [*counts, None], strict=True)
    )
    return ScanMap(segments=segments)
