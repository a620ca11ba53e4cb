"""A reel as a strip of film, drawn to its length in frames and filled from below by the stages it has been through.

Each stage of the route is a layer over the frames that it is about. Gaps, frames that the newest version lacks, go
through all layers. Pure.
"""

from typing import Literal

from relay.board.rows.view import Frames, View
from relay.ledger import route
from relay.ledger.job_state import Job, Standing
from relay.model import FrameRange, Frozen, ReelName, Stage, VersionName, without

Fill = Literal["waiting", "open", "claimed", "handed in", "accepted", "stopped", "withdrawn", "returned"]
"""How far a stage is: not opened yet, or as its job stands; open again after its work came back."""


class Layer(Frozen):
    """One stage over the frames it is about."""

    stage: str
    fill: Fill
    frames: Frames
    """In the reel's own numbers, both ends included."""
    site: str | None = None
    job: str | None = None


class Strip(Frozen):
    """What is drawn."""

    first: int
    last: int
    """The reel's frames, both ends included."""
    is_counted: bool
    """Whether the length is known: from the can, or from what was scanned."""
    layers: tuple[Layer, ...]
    """In the route's order, the first at the bottom."""
    gaps: Frames = ()

    @property
    def length(self) -> int:
        return self.last - self.first + 1


UNCOUNTED = 12_000
"""Frames that a reel of unknown length is drawn with: about ten minutes. Common practice for a 35 mm thousand-footer
is 16,000; a shorter strip says that nobody knows."""


def strip_of(view: View, reel: ReelName) -> Strip:
    """Return the strip of `reel` as it is now."""
    held = _newest_frames(view, reel)
    can = view.cans.get(reel)
    first, last = _extent(can, held)
    whole = (FrameRange(first=first, last=last),)
    stages = [stage for stage in view.film.route if reel in route.reels_of(view.film, stage)]
    return Strip(
        first=first,
        last=last,
        is_counted=can is not None or bool(held),
        layers=tuple(layer for stage in stages for layer in _layers(view, stage, reel, whole)),
        gaps=without(whole, held) if held else (),
    )


def _newest_frames(view: View, reel: ReelName) -> Frames:
    number = view.state.newest.get(reel)
    return view.frames.get(VersionName(f"{reel}/v{number}"), ()) if number else ()


def _extent(can: int | None, held: Frames) -> tuple[int, int]:
    """A scan's leader and run-out are drawn as well; a short scan does not make the can shorter."""
    last = can - 1 if can else None
    if held:
        first, end = min(held[0].first, 0), held[-1].last
        return first, max(end, last if last is not None else end)
    return 0, last if last is not None else UNCOUNTED - 1


def _layers(view: View, stage: Stage, reel: ReelName, whole: Frames) -> list[Layer]:
    passes = list(route.passes(view.state, stage.name, reel))
    if not passes:
        return [Layer(stage=stage.name, fill="waiting", frames=whole)]
    own = [_layer(job, whole) for job in passes if not job.frames]
    parts = [_layer(job, job.frames) for job in passes if job.frames and not job.is_over]
    return [(own or [Layer(stage=stage.name, fill="waiting", frames=whole)])[-1], *parts]


def _layer(job: Job, frames: Frames) -> Layer:
    site = job.claim.site if job.claim else job.holder
    return Layer(stage=job.stage, fill=fill_of(job), frames=frames, site=site, job=job.job)


def fill_of(job: Job) -> Fill:
    """Return how far `job` is: its standing, but `returned` while work that came back is free."""
    if job.returns and job.standing is Standing.OPEN:
        return "returned"
    return job.standing.value
