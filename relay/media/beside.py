"""Makes a comparison copy in a process of its own: `python -m relay.media.beside ORDER TARGET`.

Two to four prints in step, each with its name, frame and footage under it, a slate with the count where one lacks
frames. TARGET ending in `.png` gets the first step alone, as a still. What cannot be done is said in one sentence on
standard error, with exit code 2.
"""

import resource
import sys
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any

import av
import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from relay.errors import RefusedError
from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.media.lettering import lettered, slate
from relay.media.playing import MEMORY, Reel
from relay.media.reference import H264
from relay.media.showing import PICTURES, Strip
from relay.model import Frozen

_EDGE = 4  # pixels between two panes


class Pane(Frozen):
    """One print."""

    name: str
    gauge: str
    strip: Strip


class Beside(Frozen):
    """The whole comparison copy."""

    rate: str
    """Steps a second."""
    lines: Annotated[int, Field(ge=240, le=2160, multiple_of=4)] = 720
    panes: Annotated[tuple[Pane, ...], Field(min_length=2, max_length=4)]
    steps: Annotated[tuple[tuple[int | None, ...], ...], Field(min_length=1, max_length=PICTURES)]
    """For each step the frame of each print; None: it lacks it."""
    lacks: dict[str, tuple[int, int]] = Field(default_factory=dict)
    """By `STEP,PANE`: which frame of how many in a row is lacking."""
    title: str = ""


class _Table:
    """Lays the panes out: two side by side, three and four in two rows."""

    def __init__(self, order: Beside) -> None:
        self._order = order
        rows = 1 if len(order.panes) == 2 else 2
        self.high = order.lines if rows == 2 else order.lines // 2 // 2 * 2
        self.wide = order.lines * 16 // 9 // 4 * 4
        self._pane = self.wide // 2 - _EDGE, self.high // rows - _EDGE
        self._band = max(18, order.lines // 30)
        window = self._pane[0], self._pane[1] - self._band
        self._window = window
        self._reels = [Reel(pane.strip, *window) for pane in order.panes]

    def step(self, number: int) -> NDArray[np.uint8]:
        """Return a step as rows, columns, red green blue."""
        page = np.full((self.high, self.wide, 3), 16, np.uint8)
        for place, frame in enumerate(self._order.steps[number]):
            top = place // 2 * (self.high // 2) + _EDGE // 2
            left = place % 2 * (self.wide // 2) + _EDGE // 2
            shown = self._shown(place, frame, number)
            row, column = top + (self._window[1] - shown.shape[0]) // 2, left + (self._window[0] - shown.shape[1]) // 2
            page[row : row + shown.shape[0], column : column + shown.shape[1]] = shown
            self._write(page, top + self._window[1], left, self._named(place, frame))
        return page

    def _shown(self, place: int, frame: int | None, number: int) -> NDArray[np.uint8]:
        if frame is not None:
            return self._reels[place].picture(frame)
        at, length = self._order.lacks.get(f"{number},{place}", (1, 1))
        return slate([self._order.panes[place].name, f"lacks {length}", f"{at} of {length}"], *self._window)

    def _named(self, place: int, frame: int | None) -> str:
        pane = self._order.panes[place]
        if frame is None:
            return f"{pane.name}   lacking"
        return f"{pane.name}   {frame}   {format_footage(frame, parse_gauge(pane.gauge))}"

    def _write(self, page: NDArray[np.uint8], top: int, left: int, text: str) -> None:
        letters = lettered(text, self._band)[:, : self._pane[0] - 8]
        page[top : top + letters.shape[0], left + 4 : left + 4 + letters.shape[1]] = letters[..., None]


def put_beside(order: Beside, target: Path) -> int:
    """Write the movie or the still, and return how many steps it shows. Raises ValueError."""
    table = _Table(order)
    if target.suffix.lower() == ".png":
        from PIL import Image

        Image.fromarray(table.step(0)).save(target)
        return 1
    rate = Fraction(order.rate)
    with av.open(str(target), "w", format=H264.container, options={"movflags": "+faststart"}) as container:
        video: Any = container.add_stream(H264.codec, rate=rate, options=dict(H264.options))
        video.width, video.height, video.pix_fmt = table.wide, table.high, H264.pixels
        video.codec_context.time_base = video.time_base = 1 / rate
        video.codec_context.thread_count = 2
        container.metadata["title"] = order.title
        shrink = VideoReformatter()
        for number in range(len(order.steps)):
            picture = shrink.reformat(av.VideoFrame.from_ndarray(table.step(number), "rgb24"), format=H264.pixels)
            picture.pts, picture.time_base = number, 1 / rate
            container.mux(video.encode(picture))
        container.mux(video.encode(None))
    return len(order.steps)


def main() -> int:
    """Do what the command line says; returns the exit code."""
    order, target = (Path(word) for word in sys.argv[1:3])
    if sys.platform == "linux":
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    try:
        put_beside(Beside.model_validate_json(order.read_bytes()), target)
    except (RefusedError, ValueError, ValidationError, KeyError, OSError, MemoryError, av.FFmpegError) as fault:
        print(f"no comparison: {fault}", file=sys.stderr)  # noqa: T201  for whoever started this, who keeps the last lines
        return RefusedError.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
