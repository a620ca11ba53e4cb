"""One frame's bytes looked at: its header, whether its pixels decode, a thumbnail, and how its light lies.

Runs in a child process (`relay.media.child`), since the bytes may be a stranger's. Of DPX as scanners write it some
rows are enough (`relay.media.sampling`); other DPX is decoded by PyAV, four times as fast as OpenImageIO; what PyAV
cannot read and every other kind goes to OpenImageIO.
"""

import hashlib
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from relay.media.header import (
    DPX_HEADER,
    DpxHeader,
    Extent,
    extent_of,
    orientation_named,
    packing_named,
    parse_dpx,
    transfer_named,
)
from relay.media.sampling import is_plain, sampled
from relay.media.seen import Seen

if TYPE_CHECKING:
    from av.video.codeccontext import VideoCodecContext

THUMB_WIDTH = 128
THUMB_LINES = 160  # at most
PIXEL_LIMIT = 512 * 1024 * 1024
"""More than any scanner makes: 16k by 16k is half of it."""
CHANNEL_LIMIT = 16
DECODED_LIMIT = 2 * 1024 * 1024 * 1024
"""Bytes of a decoded picture: 16k by 16k in three channels of 16 bits is three quarters of it."""
_PLAIN = 64 * 1024 * 1024
_SWELLING = 1500
"""No codec of film frames swells a file that much: deflate's limit is 1,032 to 1 (RFC 1951's longest match)."""

Thumb = NDArray[np.uint16]
"""Rows, columns, red green blue; 0 to 65535."""


def check_extent(kind: str, body: bytes | memoryview) -> int:
    """Return how many bytes the decoded picture will take. Raises ValueError where it claims too much or nothing."""
    extent = extent_of(kind, body)
    if not extent.width or not extent.height:
        raise ValueError(f"its header claims {extent.width}x{extent.height} pixels: expected some of each")
    if extent.pixels() > PIXEL_LIMIT or extent.channels > CHANNEL_LIMIT or extent.bits > 64:
        raise ValueError(
            f"its header claims {extent.width}x{extent.height} pixels, {extent.channels} channels of {extent.bits} "
            f"bits: expected at most {PIXEL_LIMIT} pixels of {CHANNEL_LIMIT} channels"
        )
    decoded = extent.decoded()
    if decoded > DECODED_LIMIT or (decoded > _PLAIN and decoded > _SWELLING * len(body)):
        raise ValueError(
            f"its header claims {decoded} bytes of pixels in a file of {len(body)}: expected at most {DECODED_LIMIT}, "
            f"and no more than {_SWELLING} times the file"
        )
    return decoded


class Eye:
    """Sees frame after frame; keeps the decoder open between them."""

    def __init__(self) -> None:
        self._decoder: VideoCodecContext | None = None
        self._shrink: Any = None

    def see(self, kind: str, body: memoryview, place: str) -> tuple[Seen, Thumb | None]:
        """Return what the frame in `body` is, and its thumbnail. `place` is a path under which it can be opened."""
        if kind == "dpx":
            header = parse_dpx(bytes(body[:DPX_HEADER]))
            facts = _of_dpx(header, len(body))
            if facts["is_short"]:
                return _seen(facts, None), None
            if is_plain(header) and (found := sampled(header, body, *_thumb_shape(header.extent))):
                return _seen(facts, *found), found[0]
            thumb = self._thumb_either_way(body, place)
            return _seen(facts, thumb), thumb
        facts, pixels = opened(place, kind)
        thumb = thumb_of(pixels)
        return _seen(facts, thumb), thumb

    def _thumb_either_way(self, body: memoryview, place: str) -> Thumb:
        try:
            return self._thumb_of_dpx(body)
        except ValueError:
            return thumb_of(opened(place, "dpx")[1])

    def _thumb_of_dpx(self, body: memoryview) -> Thumb:
        import av
        from av.video.reformatter import VideoReformatter

        if self._decoder is None:
            self._decoder = av.CodecContext.create("dpx", "r")
            self._decoder.thread_count = 1
            self._shrink = VideoReformatter()
        try:
            frames = self._decoder.decode(av.Packet(body))  # type: ignore[arg-type]  # it takes any buffer
        except av.FFmpegError as fault:
            self._decoder = None
            raise ValueError(f"its pixels cannot be decoded ({fault.strerror})") from fault
        if not frames or frames[0].is_corrupt:
            raise ValueError("no picture comes of its bytes")
        frame = frames[0]
        lines = _thumb_lines(frame.width, frame.height)
        small = self._shrink.reformat(
            frame, min(THUMB_WIDTH, frame.width), lines, format="rgb48le", interpolation="AREA", threads=1
        )
        return np.asarray(small.to_ndarray())


def _is_short(header: DpxHeader, size: int) -> bool:
    return size < header.expected_size()


def _of_dpx(header: DpxHeader, size: int) -> dict[str, Any]:
    short = _is_short(header, size)
    return {
        "is_short": short,
        "fault": f"it is {size} bytes long, its pixels need {header.expected_size()}" if short else "",
        "width": header.extent.width,
        "height": header.extent.height,
        "bits": header.extent.bits,
        "channels": header.extent.channels,
        "packing": packing_named(header.packing, big_endian=header.big_endian),
        "transfer": transfer_named(header.transfer),
        "orientation": orientation_named(header.orientation),
        "position": header.position,
        "length": header.sequence_length,
        "rate": header.rate,
        "edge_roll": header.edge_roll,
        "edge_count": header.edge_count,
        "edge_offset": header.edge_offset,
    }


def opened(place: str, kind: str) -> tuple[dict[str, Any], NDArray[np.uint16]]:
    """Read a picture with OpenImageIO: what it says of itself, and 16-bit pixels. Raises ValueError."""
    oiio = _openimageio()
    source = oiio.ImageInput.open(place)
    if source is None:
        raise ValueError(f"it cannot be read: {_said(oiio.geterror())}")
    try:
        spec = source.spec()
        if source.format_name() not in {kind, {"tif": "tiff", "exr": "openexr"}.get(kind, kind)}:
            raise ValueError(f"it is named {kind} and holds {source.format_name()}")
        pixels = source.read_image(oiio.UINT16)
        if pixels is None or source.has_error:
            raise ValueError(f"its pixels cannot be decoded: {_said(source.geterror())}")
    finally:
        source.close()
    is_float = str(spec.format) in {"half", "float", "double"}
    key = spec.getattribute("smpte:KeyCode")
    facts = {
        "width": spec.width,
        "height": spec.height,
        "bits": int(spec.get_int_attribute("oiio:BitsPerSample", spec.format.size() * 8)),
        "channels": spec.nchannels,
        "packing": spec.get_string_attribute("compression", "none"),
        "transfer": "linear" if is_float else spec.get_string_attribute("oiio:ColorSpace", ""),
        "orientation": str(spec.get_int_attribute("Orientation", 1)),
        "rate": _rate_in(spec.getattribute("FramesPerSecond")),
        **_key_code(key),
    }
    return facts, np.asarray(pixels)


@cache
def _openimageio() -> Any:
    import OpenImageIO as oiio  # noqa: N813  its own name

    oiio.attribute("threads", 1)  # else it begins one for each core, and each takes of the memory that is allowed
    oiio.attribute("exr_threads", -1)
    return oiio


def _said(words: str) -> str:
    return " ".join(words.split())[:300] or "the reader does not say why"


def _rate_in(found: Any) -> float | None:
    """Read a rate from what OpenImageIO gives for OpenEXR's `framesPerSecond`: a pair of integers, or a number."""
    if isinstance(found, tuple | list) and len(found) == 2 and found[1]:
        return float(found[0]) / float(found[1])
    return float(found) if isinstance(found, int | float) and found > 0 else None


def _key_code(key: Any) -> dict[str, Any]:
    """Read OpenEXR's key code: maker, type, prefix, count, perforation offset, and two spacings."""
    if not isinstance(key, tuple | list) or len(key) < 5:
        return {}
    return {
        "edge_roll": f"{key[0]:02d}-{key[1]:02d}-{key[2]:06d}",
        "edge_count": int(key[3]),
        "edge_offset": int(key[4]),
    }


def _thumb_shape(extent: Extent) -> tuple[int, int]:
    """Return the lines and columns of a picture's thumbnail."""
    return _thumb_lines(extent.width, extent.height), min(THUMB_WIDTH, extent.width)


def _thumb_lines(width: int, height: int) -> int:
    return max(1, min(THUMB_LINES, height, round(min(THUMB_WIDTH, width) * height / width)))


def thumb_of(pixels: NDArray[np.uint16]) -> Thumb:
    """Shrink an array of rows, columns and channels: block means over whole blocks, every row and column once."""
    shaped = pixels.reshape(*pixels.shape[:2], -1)
    rgb = shaped[..., :3] if shaped.shape[2] >= 3 else np.repeat(shaped[..., :1], 3, axis=2)
    lines, columns = _thumb_lines(rgb.shape[1], rgb.shape[0]), min(THUMB_WIDTH, rgb.shape[1])
    rows = np.add.reduceat(rgb, _edges(rgb.shape[0], lines), axis=0, dtype=np.uint64)
    both = np.add.reduceat(rows, _edges(rgb.shape[1], columns), axis=1)
    counts = np.outer(_spans(rgb.shape[0], lines), _spans(rgb.shape[1], columns))
    return (both // counts[..., None].astype(np.uint64)).astype(np.uint16)


def _edges(size: int, parts: int) -> NDArray[np.int64]:
    return np.arange(parts, dtype=np.int64) * size // parts


def _spans(size: int, parts: int) -> NDArray[np.int64]:
    return np.diff(np.append(_edges(size, parts), size))


def _seen(facts: dict[str, Any], thumb: Thumb | None, mark: str = "") -> Seen:
    if thumb is None:
        return Seen(**{**facts, "fault": facts.get("fault") or "its pixels cannot be decoded"})
    levels = thumb.sum(axis=2, dtype=np.uint32).reshape(-1)
    ranks = (levels.size * 2 // 100, levels.size - 1 - levels.size * 2 // 100)
    dark, light = (float(level) / (3 * 65535) for level in np.partition(levels, ranks)[list(ranks)])
    mark = mark or hashlib.blake2b(thumb.tobytes(), digest_size=8).hexdigest()
    return Seen(**facts, dark=dark, light=light, mark=mark, thumb=(thumb.shape[1], thumb.shape[0]))
