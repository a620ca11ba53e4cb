"""A reference copy: a small movie of a reel, its element, reel, frame number and footage burnt in, for whoever edits.

Runs in a process of its own (`relay.media.copying`): it decodes strangers' frames. They come in the order of the reel;
each is decoded and shrunk once, and encoded as often as the element's speed asks for.
"""

import json
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import av
import numpy as np
from av.video.reformatter import VideoReformatter

from relay.film.cadence import Cadence
from relay.film.timecode import format_timecode
from relay.media.burning import Burner, Layout
from relay.media.header import extent_of
from relay.media.memory import in_memory
from relay.media.packed import PackedPicture
from relay.model import FrameRange, ranges_of

LINES = 1080
AHEAD = 6
"""Frames decoded, shrunk and written under ahead of the one that is encoded."""


@dataclass(frozen=True)
class Preset:
    """How a copy is encoded."""

    codec: str = "libx264"
    options: tuple[tuple[str, str], ...] = (("preset", "ultrafast"), ("crf", "16"))
    pixels: str = "yuv420p"
    container: str = "mov"


H264 = Preset()
"""Its luma keeps an SSIM of at least 0.97 to the shrunken source; tests/unit/media/test_reference.py measures it."""
PRORES = Preset("prores_ks", (("profile", "proxy"),), "yuv422p10le")
PRESETS = {"h264": H264, "prores": PRORES}


@dataclass(frozen=True)
class Slip:
    """What is burnt in and written into the container."""

    element: str
    reel: str
    gauge: str
    rate: Fraction
    """The element's speed, in frames a second."""
    shown_at: Fraction = Fraction(24)
    """The movie's speed: one that timecode counts at."""
    is_held: bool = True
    """Whether frames are held so that the film runs at its own speed; else each is shown once."""
    first: int = 0
    """The reel's number of the first frame."""

    def cadence(self) -> Cadence:
        """Return which frame each picture of the movie shows."""
        return Cadence(self.rate if self.is_held else self.shown_at, self.shown_at)

    def timecode(self) -> str:
        """Return the label of the first picture: the start mark stands at one hour, so that leader has labels, too."""
        return format_timecode(3600 * round(self.shown_at) + self.cadence().first_output_of(self.first), self.shown_at)


BLOCK = 1024
"""Samples that are encoded at once: as many as AAC puts into a packet."""
_WRITTEN = ("element", "reel", "gauge", "rate", "shown_at", "is_held", "first")


@dataclass(frozen=True)
class Source:
    """One frame's file, and its number on the reel; no file where the reel has a gap."""

    number: int
    path: Path | None


def copy_reel(
    sources: list[Source],
    slip: Slip,
    target: Path,
    sound: Path | None = None,
    preset: Preset = H264,
    told: Callable[[], None] = lambda: None,
    sized: Callable[[int, int], None] = lambda _width, _height: None,
) -> int:
    """Write the movie of `sources` to `target` and return how many pictures it has. Raises ValueError.

    `told` is called once a source frame; `sized` with the width and height that the first frame's header claims, before
    anything is decoded.
    """
    at_hand = _first_of(sources)
    shape = _shape(*at_hand)
    sized(*shape)
    layout = Layout.of(*shape)
    with av.open(str(target), "w", format=preset.container, options={"movflags": "+faststart"}) as container:
        video: Any = container.add_stream(preset.codec, rate=slip.shown_at, options=dict(preset.options))
        video.width, video.height, video.pix_fmt = layout.width, layout.height, preset.pixels
        video.codec_context.time_base = 1 / slip.shown_at
        video.time_base = 1 / slip.shown_at
        video.codec_context.thread_count = 2
        tags = _tags(slip, {source.number for source in sources if source.path is not None})
        container.metadata.update(tags)
        video.metadata.update(tags)
        laid = SoundTrack(container, sound) if sound else None
        count = _pictures(container, video, _burnt(sources, layout, slip, at_hand), slip, len(sources), told)
        if laid:
            laid.lay(Fraction(count) / slip.shown_at)
    return count


def _tags(slip: Slip, held: set[int]) -> dict[str, str]:
    """Return the timecode of the first picture and the reel's name, as containers carry them."""
    return {
        "timecode": slip.timecode(),
        "reel_name": f"{slip.element}_{slip.reel}",
        # What a movie is put together from again, picture by picture: a container has no field of its own for it.
        "comment": json.dumps(
            {name: str(getattr(slip, name)) for name in _WRITTEN}
            | {"held": [[each.first, each.last] for each in ranges_of(held)]}
        ),
    }


class Copy(NamedTuple):
    """What a reference copy says of itself."""

    slip: Slip
    held: tuple[FrameRange, ...]
    """The reel's frames that it has a picture of; between them lie gaps."""

    def picture_of(self, frame: int) -> int:
        """Return the first picture of the movie that shows `frame`, counted from 0."""
        return self.slip.cadence().first_output_of(frame - self.slip.first)


def read_copy(path: str) -> Copy:
    """Return what a reference copy says of itself. Raises ValueError where it says nothing."""
    try:
        with av.open(path) as container:
            told = json.loads(container.metadata.get("comment", ""))
        slip = Slip(
            element=told["element"],
            reel=told["reel"],
            gauge=told["gauge"],
            rate=Fraction(told["rate"]),
            shown_at=Fraction(told["shown_at"]),
            is_held=told["is_held"] == "True",
            first=int(told["first"]),
        )
        return Copy(slip, tuple(FrameRange(first=first, last=last) for first, last in told["held"]))
    except (av.FFmpegError, ValueError, KeyError, TypeError, ZeroDivisionError) as fault:
        raise ValueError(
            f"{Path(path).name} does not say which frames it shows: it is no reference copy, or an old one"
        ) from fault


class _AtHand(NamedTuple):
    """The first frame's file, whose header says how large all are: it is read for both."""

    path: Path
    body: bytes


def _first_of(sources: list[Source]) -> _AtHand:
    path = next((source.path for source in sources if source.path is not None), None)
    if path is None:
        raise ValueError("there is no frame to copy")
    return _AtHand(path, path.read_bytes())


def _shape(path: Path, body: bytes) -> tuple[int, int]:
    extent = _checked(path, _kind(path), body, lambda body: extent_of(_kind(path), body))
    return extent.width, extent.height


def _kind(path: Path) -> str:
    return path.suffix[1:].lower()


def _pictures(
    container: Any, video: Any, burnt: Iterator[Any], slip: Slip, count: int, told: Callable[[], None]
) -> int:
    at = 0
    for picture, shown in zip(burnt, slip.cadence().repeats(0, count), strict=True):
        for _ in range(shown):
            picture.pts, picture.time_base = at, 1 / slip.shown_at
            for packet in video.encode(picture):
                container.mux(packet)
            at += 1
        told()
    for packet in video.encode(None):
        container.mux(packet)
    return at


def _burnt(sources: list[Source], layout: Layout, slip: Slip, at_hand: _AtHand) -> Iterator[Any]:
    """Yield the movie's picture of each source, in order; they are drawn ahead in other threads."""
    burner = Burner(layout, slip.element, slip.reel, slip.gauge)
    held = dict([at_hand])

    def drawn(source: Source) -> Any:
        body = held.pop(source.path, None) if source.path else None
        return burner.burnt(_small(source.path, layout, body), source.number)

    with ThreadPoolExecutor(2, thread_name_prefix="decode") as pool:
        waiting = iter(sources)
        coming = deque(pool.submit(drawn, source) for source in islice(waiting, AHEAD))
        while coming:
            picture = coming.popleft().result()
            coming.extend(pool.submit(drawn, source) for source in islice(waiting, 1))
            yield picture


class _Tools(threading.local):
    """What one thread decodes and shrinks with: kept from frame to frame, since each would begin with fresh memory."""

    def __init__(self) -> None:
        self.decoder: Any = None
        self.packed = PackedPicture()
        self.shrink = VideoReformatter()

    def decoded(self, body: bytes) -> Any:
        if self.decoder is None:
            self.decoder = av.CodecContext.create("dpx", "r")
            self.decoder.thread_count = 1
        decoder, self.decoder = self.decoder, None  # one that fails is not used again
        (frame,) = decoder.decode(av.Packet(body))
        self.decoder = decoder
        return frame


_TOOLS = _Tools()


def _small(path: Path | None, layout: Layout, at_hand: bytes | None) -> Any:
    if path is None:
        return None
    frame = _to_shrink(path, path.read_bytes() if at_hand is None else at_hand)
    wide, high = layout.window_width, layout.window_height
    return _TOOLS.shrink.reformat(frame, wide, high, format="yuv420p", interpolation="AREA", threads=1)


def _to_shrink(path: Path, body: bytes) -> Any:
    """Return a frame file's `body` as a picture that is good until this thread's next. Raises ValueError, naming it."""
    packed = _checked(path, "dpx", body, _TOOLS.packed.of) if _kind(path) == "dpx" else None
    return packed or _decoded(path, body)


def decoded(path: Path) -> Any:
    """Return a frame file as a picture. Raises ValueError, naming the file."""
    return _decoded(path, path.read_bytes())


def _decoded(path: Path, body: bytes) -> Any:
    kind = _kind(path)
    return _checked(path, kind, body, _TOOLS.decoded if kind == "dpx" else lambda body: _by_openimageio(kind, body))


def _checked(path: Path, kind: str, body: bytes, read: Callable[[bytes], Any]) -> Any:
    from relay.media.seeing import check_extent

    try:
        check_extent(kind, body)
        return read(body)
    except (ValueError, av.FFmpegError) as fault:
        raise ValueError(f"{path.name} cannot be copied: {fault}") from fault


def _by_openimageio(kind: str, body: bytes) -> Any:
    from relay.media.seeing import opened

    with in_memory(body) as place:
        pixels = opened(place, kind)[1]
    shaped = pixels.reshape(*pixels.shape[:2], -1)
    rgb = shaped[..., :3] if shaped.shape[2] >= 3 else np.repeat(shaped[..., :1], 3, axis=2)
    return av.VideoFrame.from_ndarray(np.ascontiguousarray(rgb), format="rgb48le")


class SoundTrack:
    """A sound laid beside the picture, from the first picture on, cut where the picture ends."""

    def __init__(self, container: Any, path: Path) -> None:
        self._container = container
        self._source: Any = av.open(str(path))
        context = self._source.streams.audio[0].codec_context
        self._rate, layout = context.sample_rate, "mono" if context.channels == 1 else "stereo"
        self._stream: Any = container.add_stream("aac", rate=self._rate, layout=layout)
        self._resampler = av.AudioResampler(format="fltp", layout=layout, rate=self._rate)

    def lay(self, seconds: Fraction) -> None:
        """Encode as much of the sound as `seconds` take, to the sample."""
        last, at, waiting = int(seconds * self._rate), 0, av.AudioFifo()
        for frame in self._source.decode(audio=0):
            for each in self._resampler.resample(frame):
                each.pts = None  # they are numbered when they are laid
                waiting.write(each)
            while at < last and waiting.samples >= (take := min(BLOCK, last - at)):
                at = self._laid(waiting.read(take), at)
            if at >= last:
                break
        if at < last and waiting.samples:
            self._laid(waiting.read(min(waiting.samples, last - at)), at)
        self._container.mux(self._stream.encode(None))
        self._source.close()

    def _laid(self, block: Any, at: int) -> int:
        """Encode a block that begins at sample `at`, and return where the next one does."""
        block.pts, block.time_base = at, Fraction(1, self._rate)
        self._container.mux(self._stream.encode(block))
        return at + int(block.samples)
