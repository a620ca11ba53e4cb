"""Makes the reference movie of a programme in a process of its own: `python -m relay.media.playing ORDER TARGET`.

ORDER is a JSON file (`relay.media.showing`). Pictures come from reference copies or frame files, each at its place;
what nobody has is a slate. What cannot be done is said in one sentence on standard error, with exit code 2.
"""

import resource
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray
from pydantic import ValidationError

from relay.errors import RefusedError
from relay.film.timecode import format_timecode
from relay.media.lettering import lettered, slate
from relay.media.reference import H264, SoundTrack, decoded, read_copy
from relay.media.showing import MovieOrder, Shot, Strip

Picture = NDArray[np.uint8]

MEMORY = 6 * 1024 * 1024 * 1024  # bytes of address space
HOUR = 3600
"""Seconds: where the programme's timecode begins, so that leader has labels, too; common practice."""
_FORWARD = 48
"""Pictures that are decoded on rather than sought."""


class Reel:
    """The pictures of one strip, by the reel's frames."""

    def __init__(self, strip: Strip, width: int, height: int) -> None:
        self._strip = strip
        self._size = width, height
        self._shrink = VideoReformatter()
        self._container: Any = av.open(strip.movie) if strip.movie else None
        self._frames: Any = None
        self._at, self._held = -1, None
        if strip.movie:
            self._copy = read_copy(strip.movie)
            self._rate = self._copy.slip.shown_at

    def picture(self, frame: int) -> Picture:
        """Return a frame, fitted into the window: rows, columns, red green blue. Raises ValueError."""
        found = self._read(frame) if self._container is None else self._sought(frame)
        scale = min(self._size[0] / found.width, self._size[1] / found.height)
        wide, high = (max(2, int(side * scale) // 2 * 2) for side in (found.width, found.height))
        small = self._shrink.reformat(found, wide, high, format="rgb24", interpolation="AREA")
        return np.asarray(small.to_ndarray())

    def _read(self, frame: int) -> Any:
        if frame not in self._strip.files:
            raise ValueError(
                f"frame {frame} of {self._strip.reel} is to be shown, and its version does not hold it: align it again"
            )
        return decoded(Path(self._strip.files[frame]))

    def _sought(self, frame: int) -> Any:
        wanted = self._copy.picture_of(frame)
        if self._frames is None or not self._at <= wanted <= self._at + _FORWARD:
            stream = self._container.streams.video[0]
            self._container.seek(int(wanted / self._rate / stream.time_base), stream=stream, backward=True)
            self._frames, self._at = self._container.decode(stream), -1
        while self._at < wanted:
            self._held = next(self._frames, None)
            if self._held is None:
                raise ValueError(f"the reference copy of {self._strip.reel} ends before frame {frame}")
            self._at = round(self._held.pts * self._held.time_base * self._rate)
        return self._held


class _Projector:
    """Puts each shot into the movie's frame, with what it is under it."""

    def __init__(self, order: MovieOrder) -> None:
        self._order = order
        self._rate = Fraction(order.rate)
        self.height = order.lines
        self.width = order.lines * 16 // 9 // 2 * 2
        self._band = max(16, order.lines // 15 // 2 * 2)
        self._reels = [Reel(strip, self.width, self.height - self._band) for strip in order.strips]
        self._last: tuple[Shot, Picture] | None = None

    def frame(self, place: int, shot: Shot) -> Any:
        if self._last is None or self._last[0] != shot:
            self._last = shot, self._window(shot)
        whole = np.full((self.height, self.width, 3), 16, np.uint8)
        window = self._last[1]
        top, left = (self.height - self._band - window.shape[0]) // 2, (self.width - window.shape[1]) // 2
        whole[top : top + window.shape[0], left : left + window.shape[1]] = window
        label = format_timecode(HOUR * round(self._rate) + place, self._rate) if self._is_counted() else str(place)
        for text, at_left in ((self._named(shot), True), (label, False)):
            letters = lettered(text, self._band)[:, : self.width // 2]
            start = 8 if at_left else self.width - 8 - letters.shape[1]
            whole[self.height - self._band :, start : start + letters.shape[1]] = letters[..., None]
        return av.VideoFrame.from_ndarray(whole, format="rgb24")

    def _is_counted(self) -> bool:
        return self._rate in {Fraction(24), Fraction(25), Fraction(30), Fraction(24000, 1001)}

    def _window(self, shot: Shot) -> Picture:
        if shot.slate >= 0:
            one = slate(self._order.slates[shot.slate].lines, self.width, self.height - self._band)
        else:
            one = self._reels[shot.strip].picture(shot.frame)
        if shot.into < 0:
            return one
        other = self._reels[shot.into].picture(shot.into_frame)
        rows, columns = min(one.shape[0], other.shape[0]), min(one.shape[1], other.shape[1])
        mixed = _middle(one, rows, columns) * (1 - shot.share) + _middle(other, rows, columns) * shot.share
        return np.asarray(mixed.round().astype(np.uint8))

    def _named(self, shot: Shot) -> str:
        if shot.slate >= 0 and shot.into < 0:
            return self._order.slates[shot.slate].kind
        if shot.slate >= 0:
            return f"> {self._order.strips[shot.into].reel}  {shot.into_frame}"
        named = f"{self._order.strips[shot.strip].reel}  {shot.frame}"
        return named if shot.into < 0 else f"{named} > {self._order.strips[shot.into].reel}  {shot.into_frame}"


def _middle(picture: Picture, rows: int, columns: int) -> NDArray[np.float64]:
    top, left = (picture.shape[0] - rows) // 2, (picture.shape[1] - columns) // 2
    return picture[top : top + rows, left : left + columns].astype(np.float64)


def played(order: MovieOrder, target: Path) -> int:
    """Write the movie and return how many pictures it has: one for each shot. Raises ValueError."""
    rate, projector = Fraction(order.rate), _Projector(order)
    with av.open(str(target), "w", format=H264.container, options={"movflags": "+faststart"}) as container:
        video: Any = container.add_stream(H264.codec, rate=rate, options=dict(H264.options))
        video.width, video.height, video.pix_fmt = projector.width, projector.height, H264.pixels
        video.codec_context.time_base = video.time_base = 1 / rate
        video.codec_context.thread_count = 2
        container.metadata["title"] = order.title
        sound = SoundTrack(container, Path(order.sound)) if order.sound else None
        shrink = VideoReformatter()
        for place, shot in enumerate(order.shots):
            picture = shrink.reformat(projector.frame(place, shot), format=H264.pixels)
            picture.pts, picture.time_base = place, 1 / rate
            container.mux(video.encode(picture))
        container.mux(video.encode(None))
        if sound:
            sound.lay(len(order.shots) / rate)
    return len(order.shots)


def main() -> int:
    """Do what the command line says; returns the exit code."""
    order, target = (Path(word) for word in sys.argv[1:3])
    if sys.platform == "linux":
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    try:
        played(MovieOrder.model_validate_json(order.read_bytes()), target)
    except (RefusedError, ValueError, ValidationError, OSError, MemoryError, av.FFmpegError) as fault:
        print(f"no movie: {fault}", file=sys.stderr)  # noqa: T201  for whoever started this, who keeps the last lines
        return RefusedError.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
