"""Gaps that a reel had before: what the versions that a version was made from lack as well."""

from collections.abc import Iterable

from relay.errors import RefusedError
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State, Version
from relay.media.package import contents_of
from relay.media.sequence import frames_in
from relay.model import FrameRange, ReelName, ScanMap, VersionName, every_frame, reel_of
from relay.transfer.desk import Desk

_GAP_LIMIT = 100_000  # frames: a longer gap is nobody's film


def sources_of(state: State, reel: ReelName, job: Job, parents: Iterable[VersionName]) -> list[Version]:
    """Return what work on `reel` was made from: what `job` took of it, and parents that somebody accepted."""
    accepted = {each.outcome for each in state.jobs.values() if each.standing is Standing.ACCEPTED}
    names = [*job.inputs, *(parent for parent in parents if parent in accepted)]
    return [state.versions[name] for name in names if reel_of(name) == reel]


def known_gaps(
    desk: Desk, sources: Iterable[Version], scan_map: ScanMap | None, paths: Iterable[str]
) -> frozenset[int]:
    """Return the numbers that lack in `paths`, tied to the reel by `scan_map`, whose frames no source has either."""
    runs = contents_of(paths).runs
    try:
        held = [each for source in sources for each in frames_in(desk.manifests.read(source.manifest), source.scan_map)]
    except RefusedError:
        return frozenset()  # a source with several runs of frames: nobody can say what it holds
    if not held or not runs or scan_map is None:
        return frozenset()
    short = (gap for gap in runs[0].missing() if gap.last - gap.first < _GAP_LIMIT)
    return frozenset(number for number in every_frame(short) if _is_lacking(scan_map.reel_frame(number), held))


def _is_lacking(frame: int | None, held: list[FrameRange]) -> bool:
    return frame is not None and not any(each.first <= frame <= each.last for each in held)
