"""Gaps in the edge code become gaps on the reel: the scan map that leaves room for what the film lacks. Pure."""

from itertools import pairwise

from relay.media.findings import Finding, Kind, Report, Run
from relay.model import ScanMap, ScanSegment


def with_edge_gaps(scan_map: ScanMap, report: Report) -> ScanMap:
    """Return a start mark's map with the gaps that the edge code shows; a map of several segments as it is."""
    (start, *others) = scan_map.segments
    if others or start.count is not None or not report.runs:
        return scan_map
    run = report.runs[0]
    reel = scan_map.reel_frame(run.first)
    return scan_map if reel is None else map_with_gaps(run, report.findings, reel) or scan_map


def map_with_gaps(run: Run, findings: tuple[Finding, ...], reel: int = 0) -> ScanMap | None:
    """Return the map that gives each frame its number on the film as it was; None where the edge code has no gap.

    `reel`: the reel's number of the run's first frame.
    """
    gaps = sorted(
        (each.frames[0].first, each.lacking)
        for each in findings
        if each.kind is Kind.EDGE_GAP and each.where == run.name and each.frames
    )
    if not gaps:
        return None
    starts = [(run.first, reel)]
    for at, lacking in gaps:
        last_scan, last_reel = starts[-1]
        starts.append((at, last_reel + at - last_scan + lacking))
    counts = [then[0] - here[0] for here, then in pairwise(starts)]
    segments = tuple(
        ScanSegment(scan=scan, reel=shown, count=count)
        for (scan, shown), count in zip(starts, [*counts, None], strict=True)
    )
    return ScanMap(segments=segments)
