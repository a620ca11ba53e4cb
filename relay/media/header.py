"""Plain header fields of picture files: how large a picture claims to be, before anything is decoded, and what a DPX
header says of its film. Pure: bytes in, values out; offsets of SMPTE ST 268, TIFF 6.0, PNG (RFC 2083) and OpenEXR.

Every count is a stranger's: nothing is allocated by it here, and no walk is longer than a fixed bound.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite

Bytes = bytes | memoryview

DPX_HEADER = 2048  # bytes of the sections that are read
_UNDEFINED = 0xFFFFFFFF
_TAGS = 512  # of a TIFF directory
_ATTRIBUTES = 256  # of an OpenEXR header


@dataclass(frozen=True, slots=True)
class Extent:
    """What a picture claims to hold."""

    width: int
    height: int
    channels: int
    bits: int
    """Of one sample."""

    def pixels(self) -> int:
        return self.width * self.height

    def decoded(self) -> int:
        """Return the bytes that the decoded picture takes, at two bytes a sample or four."""
        return self.pixels() * max(1, self.channels) * (2 if self.bits <= 16 else 4)


@dataclass(frozen=True, slots=True)
class DpxHeader:
    """The fields of a DPX header that are looked at; None where they are undefined."""

    extent: Extent
    big_endian: bool
    data_offset: int
    file_size: int | None
    orientation: int
    descriptor: int
    transfer: int
    packing: int
    encoding: int
    line_padding: int
    position: int | None
    sequence_length: int | None
    held: int | None
    rate: float | None
    edge_roll: str
    """Manufacturer, type and prefix of the edge code; empty where there is none."""
    edge_count: int | None
    edge_offset: int | None

    def expected_size(self) -> int:
        """Return how long the file must be at least, in bytes, to hold its pixels; 0 where that cannot be said."""
        if self.encoding not in {0, 0xFFFF} or not self.extent.bits:
            return 0
        samples = self.extent.width * self.extent.channels
        line = _line_bytes(samples, self.extent.bits, is_filled=self.packing in {1, 2})
        return self.data_offset + self.extent.height * (line + self.line_padding) - self.line_padding


def _line_bytes(samples: int, bits: int, *, is_filled: bool) -> int:
    if is_filled and bits == 10:
        return -(-samples // 3) * 4
    if is_filled and bits == 12:
        return samples * 2
    return -(-samples * bits // 8)  # to the byte: not every writer fills lines up to a word


_CHANNELS = {50: 3, 51: 4, 52: 4, 100: 2, 101: 3, 102: 3, 103: 4}
_TRANSFERS = {
    0: "user-defined", 1: "printing density", 2: "linear", 3: "logarithmic", 4: "unspecified video", 5: "ST 274",
    6: "BT.709", 7: "BT.601 625", 8: "BT.601 525", 9: "composite NTSC", 10: "composite PAL", 11: "Z linear",
    12: "Z homogeneous", 255: "undefined",
}  # fmt: skip  # SMPTE ST 268, table of transfer characteristics
_ORIENTATIONS = (
    "left to right, top to bottom", "right to left, top to bottom", "left to right, bottom to top",
    "right to left, bottom to top", "top to bottom, left to right", "top to bottom, right to left",
    "bottom to top, left to right", "bottom to top, right to left",
)  # fmt: skip
_PACKINGS = {0: "packed", 1: "filled, method A", 2: "filled, method B"}


def transfer_named(code: int) -> str:
    return _TRANSFERS.get(code, f"code {code}")


def orientation_named(code: int) -> str:
    return _ORIENTATIONS[code] if code < len(_ORIENTATIONS) else f"code {code}"


def packing_named(code: int, *, big_endian: bool) -> str:
    return f"{_PACKINGS.get(code, f'code {code}')}, {'big' if big_endian else 'little'}-endian"


def parse_dpx(head: bytes) -> DpxHeader:
    """Return what a DPX header says. Raises ValueError where it is none, or too short to say."""
    order = {b"SDPX": ">", b"XPDS": "<"}.get(head[:4])
    if order is None:
        raise ValueError(f"it begins with {head[:4]!r}, expected SDPX or XPDS as DPX does")
    if len(head) < 1664:
        raise ValueError(f"it ends after {len(head)} bytes, in the midst of its header")
    offset, size = _u32(head, 4, order), _u32(head, 16, order)
    (orientation,) = struct.unpack_from(f"{order}H", head, 768)
    width, lines = struct.unpack_from(f"{order}II", head, 772)
    descriptor, transfer, _, bits = head[800:804]
    packing, encoding = struct.unpack_from(f"{order}HH", head, 804)
    padding = _u32(head, 812, order)
    film = head[1664:1920] if offset is not None and min(offset, len(head)) >= 1920 else b"\xff" * 256
    roll, count, perforations = _edge_code(film)
    return DpxHeader(
        extent=Extent(width, lines, _CHANNELS.get(descriptor, 1), bits),
        big_endian=order == ">",
        data_offset=offset or DPX_HEADER,
        file_size=size or None,
        orientation=orientation,
        descriptor=descriptor,
        transfer=transfer,
        packing=packing,
        encoding=encoding,
        line_padding=padding or 0,
        position=_u32(film, 48, order),
        sequence_length=_u32(film, 52, order) or None,
        held=_u32(film, 56, order) or None,
        rate=_r32(film, 60, order),
        edge_roll=roll,
        edge_count=count,
        edge_offset=perforations,
    )


def _u32(head: bytes, at: int, order: str) -> int | None:
    (found,) = struct.unpack_from(f"{order}I", head, at)
    return None if found == _UNDEFINED else int(found)


def _r32(head: bytes, at: int, order: str) -> float | None:
    (found,) = struct.unpack_from(f"{order}f", head, at)
    return float(found) if isfinite(found) and 0 < found < 1000 else None


def _edge_code(film: bytes) -> tuple[str, int | None, int | None]:
    """Read manufacturer, type, perforation offset, prefix and count (ST 254): digits, where they are defined."""
    maker, kind, offset, prefix, count = film[0:2], film[2:4], film[4:6], film[6:12], film[12:16]
    count_text, offset_text = _digits(count), _digits(offset)
    if count_text is None or offset_text is None:
        return "", None, None
    roll = "-".join(part.decode("ascii", "replace").strip("\0 \ufffd") for part in (maker, kind, prefix))
    return roll, count_text, offset_text


def _digits(field: bytes) -> int | None:
    text = field.strip(b"\0 ")
    return int(text) if text.isdigit() else None


def extent_of(kind: str, body: Bytes) -> Extent:
    """Return what the picture in `body`, a file of that `kind`, claims to hold. Raises ValueError, naming the fault."""
    try:
        match kind:
            case "dpx":
                return parse_dpx(bytes(body[:DPX_HEADER])).extent
            case "png":
                return _png(body)
            case "tif" | "tiff":
                return _tiff(body)
            case "exr":
                return _exr(body)
            case _:
                raise ValueError(f"{kind!r} is no kind of picture that is looked at")
    except (struct.error, IndexError) as fault:
        raise ValueError(f"it ends after {len(body)} bytes, in the midst of its header") from fault


def _png(body: Bytes) -> Extent:
    if body[:8] != b"\x89PNG\r\n\x1a\n" or body[12:16] != b"IHDR":
        raise ValueError(f"it begins with {bytes(body[:8])!r}, which is not how a PNG begins")
    width, height, bits, colour = struct.unpack_from(">IIBB", body, 16)
    return Extent(width, height, {0: 1, 2: 3, 3: 3, 4: 2, 6: 4}.get(colour, 4), bits)


def _tiff(body: Bytes) -> Extent:
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(bytes(body[:4]))
    if order is None:
        raise ValueError(f"it begins with {bytes(body[:4])!r}, expected II or MM and 42 as TIFF does")
    (at,) = struct.unpack_from(f"{order}I", body, 4)
    (entries,) = struct.unpack_from(f"{order}H", body, at)
    found: dict[int, int] = {}
    for number in range(min(entries, _TAGS)):
        tag, form, count, value = struct.unpack_from(f"{order}HHII", body, at + 2 + number * 12)
        if tag in {256, 257, 258, 277}:
            found[tag] = _tag(body, at + 2 + number * 12 + 8, order, (form, count, value))
    channels = found.get(277, 1)
    return Extent(found.get(256, 0), found.get(257, 0), channels, found.get(258, 1))


def _tag(body: Bytes, place: int, order: str, entry: tuple[int, int, int]) -> int:
    """Return the first value of a tag: in its place, or where that points."""
    form, count, value = entry
    if form == 4:
        return value
    if form == 3 and count > 2:
        return int(struct.unpack_from(f"{order}H", body, value)[0])
    return int(struct.unpack_from(f"{order}H" if form == 3 else f"{order}B", body, place)[0])


def _exr(body: Bytes) -> Extent:
    window, channels = None, 0
    for name, kind, value in exr_attributes(body):
        if name == b"dataWindow" and kind == b"box2i":
            window = struct.unpack("<4i", value[:16])
        elif name == b"channels":
            channels = _exr_channels(value)
    if window is None:
        raise ValueError("its header has no dataWindow")
    left, top, right, bottom = window
    if right < left or bottom < top:
        raise ValueError(f"its dataWindow {window} is turned inside out")
    return Extent(right - left + 1, bottom - top + 1, channels, 32)


def exr_attributes(body: Bytes) -> Iterator[tuple[bytes, bytes, Bytes]]:
    """Yield the name, type and value of each attribute in an OpenEXR header. Raises ValueError, IndexError."""
    if body[:4] != b"\x76\x2f\x31\x01":
        raise ValueError(f"it begins with {bytes(body[:4])!r}, expected 76 2f 31 01 as OpenEXR does")
    at = 8
    for _ in range(_ATTRIBUTES):
        if body[at] == 0:
            break
        name, at = _text(body, at)
        kind, at = _text(body, at)
        (size,) = struct.unpack_from("<i", body, at)
        at += 4
        if size < 0 or at + size > len(body):
            raise ValueError(f"its header's attribute {name[:32]!r} claims {size} bytes, more than the file holds")
        yield name, kind, body[at : at + size]
        at += size


def _exr_channels(listed: Bytes) -> int:
    at, count = 0, 0
    while count < _ATTRIBUTES and at < len(listed) and listed[at]:
        _, at = _text(listed, at)
        at, count = at + 16, count + 1
    return count


def _text(body: Bytes, at: int) -> tuple[bytes, int]:
    name, end, _ = bytes(body[at : at + 256]).partition(b"\0")
    if not end:
        raise ValueError("its header holds a name without an end")
    return name, at + len(name) + 1
