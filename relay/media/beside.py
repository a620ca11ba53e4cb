"""Makes a comparison copy in a process of its own: `python -m relay.media.beside ORDER TARGET`.

Two to four prints in step, each with its name, frame and footage under it, a slate with the count where one lacks
frames. TARGET ending in `.png` gets the first step alone, as a still. What cannot be done is said in one sentence on
standard error, with exit code 2.
"""

import resource
import sys
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import av
import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from relay.errors import RefusedError
from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.media.lettering import lettered, shortened, slate
from relay.media.playing import MEMORY, Reel
from relay.media.reference import H264
from relay.media.showing import PICTURES, Strip
from relay.model import Frozen

_EDGE = 4  # pixels between two panes
_DIM = 180  # of 255: light that does not draw the eye away from the pictures


class Pane(Frozen):
    """One print; or of a programme the prints of one element, one after another."""

    name: str
    gauge: str
    strips: tuple[Strip, ...] = ()
    names: tuple[str, ...] = ()
    """Of the strips, as they are written under the pictures."""
    title: str = ""
    """What people call the print: `The tinted print`."""


class Seen(NamedTuple):
    """What a pane shows at a step."""

    strip: int
    """Which of its strips; -1: none, its print lacks the frame."""
    frame: int
    """Of the strip's reel; where it lacks it, which of how many in a row, from 1."""
    lacking: int = 0
    """How many in a row it lacks; 0: no print was put beside what is shown."""
    sure: bool = True
    """Whether the frame map is sure of it."""
    after: int | None = None
    """Where it lacks it: the frame of its own that came before; None where none did."""


class Beside(Frozen):
    """The whole comparison copy."""

    rate: str
    """Steps a second."""
    lines: Annotated[int, Field(ge=240, le=2160, multiple_of=4)] = 1080
    """How high it is with four prints; two lie as wide as that screen is, at 16 by 9."""
    panes: Annotated[tuple[Pane, ...], Field(min_length=2, max_length=4)]
    steps: Annotated[tuple[tuple[Seen, ...], ...], Field(min_length=1, max_length=PICTURES)]
    """For each step what each pane shows."""
    title: str = ""


class _Table:
    """Lays the panes out: two side by side, three and four in two rows."""

    def __init__(self, order: Beside) -> None:
        self._order = order
        rows = 1 if len(order.panes) == 2 else 2
        self._band = max(18, order.lines // 24 // 2 * 2)
        wide = order.lines * 8 // 9 if rows == 1 else (order.lines // 2 - self._band) * 4 // 3
        self._pane = wide // 4 * 4, wide // 4 * 3 + self._band  # film's pictures are about as wide as 4 by 3
        self.wide, self.high = 2 * self._pane[0], rows * self._pane[1] // 2 * 2
        self._window = self._pane[0] - _EDGE, self._pane[1] - self._band - _EDGE
        self._reels = [[Reel(strip, *self._window) for strip in pane.strips] for pane in order.panes]

    def step(self, number: int) -> NDArray[np.uint8]:
        """Return a step as rows, columns, red green blue."""
        page = np.full((self.high, self.wide, 3), 16, np.uint8)
        for place, seen in enumerate(self._order.steps[number]):
            top = place // 2 * self._pane[1] + _EDGE // 2
            left = place % 2 * self._pane[0] + _EDGE // 2
            shown = self._shown(place, seen)
            row, column = top + (self._window[1] - shown.shape[0]) // 2, left + (self._window[0] - shown.shape[1]) // 2
            page[row : row + shown.shape[0], column : column + shown.shape[1]] = shown
            self._write(page, top + self._window[1], left, place, seen)
        return page

    def _shown(self, place: int, seen: Seen) -> NDArray[np.uint8]:
        if seen.strip >= 0:
            return self._reels[place][seen.strip].picture(seen.frame)
        if not seen.lacking:
            return slate([self._order.panes[place].name, "no print of it", "was put beside this"], *self._window)
        frames = "frame" if seen.lacking == 1 else "frames"
        lacks = f"lacks {seen.lacking} {frames}" if seen.sure else f"may lack {seen.lacking} {frames}"
        where = [] if seen.after is None else [f"after its frame {seen.after}"]
        return slate([self._order.panes[place].name, lacks, *where, f"{seen.frame} of {seen.lacking}"], *self._window)

    def _write(self, page: NDArray[np.uint8], top: int, left: int, place: int, seen: Seen) -> None:
        """Write under a picture: its numbers at the right, which nothing covers; whether it is sure; its name."""
        pane, end = self._order.panes[place], left + self._pane[0] - 12
        end = self._put(page, top, end, lettered(_numbers(pane, seen), self._band))
        if not seen.sure:
            end = self._put(page, top, end, np.minimum(251 - lettered(" not sure ", self._band), _DIM))
        name, room = pane.names[seen.strip] if seen.strip >= 0 else pane.name, end - left - 8
        whole = lettered(f"{name}   {pane.title}".rstrip(), self._band)
        letters = whole if whole.shape[1] <= room else shortened(name, self._band, room)
        self._put(page, top, left + 4 + letters.shape[1], letters)

    def _put(self, page: NDArray[np.uint8], top: int, end: int, letters: NDArray[np.uint8]) -> int:
        """Write letters that end at column `end`, and return where what is left of them may end."""
        first, row = end - int(letters.shape[1]), top + (self._band - letters.shape[0]) // 2
        page[row : row + letters.shape[0], first:end] = letters[..., None]
        return first - 12


def _numbers(pane: Pane, seen: Seen) -> str:
    if seen.strip < 0:
        return f"lacking {seen.frame} of {seen.lacking}" if seen.lacking else "no print"
    return f"{seen.frame}   {format_footage(seen.frame, parse_gauge(pane.gauge))}"


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
