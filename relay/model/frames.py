"""Frames of a reel: a range of them, and what ties the numbers of a scan to them."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from relay.model.names import Frozen


class FrameRange(Frozen):
    """Frames `first` to `last`, both included, in the reel's own numbers."""

    first: int
    last: int

    @model_validator(mode="after")
    def _goes_forward(self) -> Self:
        if self.last < self.first:
            raise ValueError(f"frames {self.first} to {self.last} run backwards")
        return self

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


class ScanSegment(Frozen):
    """`count` scan files from number `scan` on show the reel's frames from `reel` on; None: all that follow."""

    scan: int
    reel: int
    count: Annotated[int, Field(ge=1)] | None = None


class ScanMap(Frozen):
    """Ties the numbers in a scan's file names to the reel's own frame numbers.

    One segment is a start mark. More are needed where a scan skips or repeats what another scan has,
    as when a splice was remade between a dry scan and a wet-gate scan.
    """

    segments: Annotated[tuple[ScanSegment, ...], Field(min_length=1, max_length=1000)]

    @model_validator(mode="after")
    def _is_one_to_one(self) -> Self:
        for here, then in zip(self.segments, self.segments[1:], strict=False):
            if here.count is None or here.scan + here.count > then.scan or here.reel + here.count > then.reel:
                raise ValueError(f"the segment at scan number {then.scan} overlaps the one before it")
        return self

    @classmethod
    def start_mark(cls, scan: int, reel: int = 0) -> Self:
        """Return the map of a scan whose file number `scan` shows the reel's frame `reel`."""
        return cls(segments=(ScanSegment(scan=scan, reel=reel),))

    def reel_frame(self, scan: int) -> int | None:
        """Return the reel's frame that scan number `scan` shows, or None where the map says nothing of it.

        Numbers ahead of the first segment are leader: they count back from it.
        """
        first = self.segments[0]
        if scan < first.scan:
            return first.reel - (first.scan - scan)
        for segment in self.segments:
            if segment.scan <= scan and (segment.count is None or scan < segment.scan + segment.count):
                return segment.reel + (scan - segment.scan)
        return None
