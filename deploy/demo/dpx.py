"""Writes one 10-bit RGB picture as DPX (SMPTE ST 268): big-endian, printing density, packed "filled, method A".

Only what the demo's film needs, so that it needs no image library. What is not known about a frame is written as the
standard's "undefined": all ones for a number, NUL for text.
"""

import struct
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HEADER_BYTES = 2048
_GENERIC_BYTES = 1664
_UNDEFINED_32 = 0xFFFFFFFF
_UNDEFINED_8 = 0xFF
_RGB, _PRINTING_DENSITY, _FILLED_A = 50, 1, 1
_WHITE = 1023

_FILE = struct.Struct(">4sI8s5I100s24s100s200s200sI104x")
_IMAGE = struct.Struct(">HHII")
_ELEMENT = struct.Struct(">IIfIf4BHHIII32s")
_ELEMENT_UNUSED = bytes([_UNDEFINED_8]) * 40 + bytes(32)
_IMAGE_RESERVED = bytes(52)
_ORIENTATION = struct.Struct(">6I100s24s32s32s4H4I20x")
_FILM = struct.Struct(">2s2s2s6s4s32sIIIfI32s100s56x")
_TELEVISION = struct.Struct(">II4B10I76x")


@dataclass(frozen=True)
class FilmFrame:
    """What the header says about the frame: `position` counts from 0 in a sequence of `length` frames."""

    position: int
    length: int
    frames_per_second: float
    frame_id: str
    slate: str
    film_format: str
    project: str
    device: str
    scanned: datetime


def write_dpx(path: Path, planes: NDArray[np.uint16], frame: FilmFrame) -> None:
    """Write `planes` (red, green, blue; rows; columns; codes 0 to 1023) as `path`, replacing what is there."""
    words = packed(planes)
    header = _header(path.name, planes.shape[2], planes.shape[1], frame)
    with path.open("wb") as file:
        file.write(header)
        file.write(words.data)


def packed(planes: NDArray[np.uint16]) -> NDArray[np.uint32]:
    """Return three codes to a word, red in the highest ten bits, the two lowest bits empty."""
    if planes.ndim != 3 or planes.shape[0] != 3:
        raise ValueError(f"the planes have the shape {planes.shape}: expected (3, rows, columns)")
    if planes.max(initial=0) > _WHITE:
        raise ValueError(f"the highest code is {planes.max()}: 10 bits hold 0 to {_WHITE}")
    words = planes[0].astype(np.uint32)
    for plane in planes[1:]:
        words <<= 10
        words |= plane
    words <<= 2
    packed: NDArray[np.uint32] = words.astype(">u4", order="C")
    return packed


def _header(name: str, columns: int, rows: int, frame: FilmFrame) -> bytes:
    when = frame.scanned.strftime("%Y:%m:%d:%H:%M:%S%z").encode("ascii")
    project, device = _text(frame.project, 200), _text(frame.device, 32)
    size = HEADER_BYTES + rows * columns * 4
    density_of_white = 0.002 * _WHITE
    return b"".join(
        (
            _FILE.pack(
                *(b"SDPX", HEADER_BYTES, b"V2.0", size, 1, _GENERIC_BYTES, HEADER_BYTES - _GENERIC_BYTES, 0),
                *(_text(name, 100), when, device, project, b"", _UNDEFINED_32),
            ),
            _IMAGE.pack(0, 1, columns, rows),
            _ELEMENT.pack(
                *(0, 0, 0.0, _WHITE, density_of_white),
                *(_RGB, _PRINTING_DENSITY, _PRINTING_DENSITY, 10, _FILLED_A, 0, HEADER_BYTES, 0, 0, b""),
            ),
            _ELEMENT_UNUSED * 7,
            _IMAGE_RESERVED,
            _ORIENTATION.pack(
                *(0, 0, _UNDEFINED_32, _UNDEFINED_32, columns, rows),
                *(_text(name, 100), when, device, b"", 0, 0, 0, 0, 1, 1, _UNDEFINED_32, _UNDEFINED_32),
            ),
            _FILM.pack(
                *(b"", b"", b"", b"", b"", _text(frame.film_format, 32)),
                *(frame.position, frame.length, 1, frame.frames_per_second, _UNDEFINED_32),
                *(_text(frame.frame_id, 32), _text(frame.slate, 100)),
            ),
            _TELEVISION.pack(*[_UNDEFINED_32] * 2, *[_UNDEFINED_8] * 3, 0, *[_UNDEFINED_32] * 10),
        )
    )


def _text(words: str, room: int) -> bytes:
    """ASCII that fits its field with a closing NUL."""
    text = words.encode("ascii")
    if len(text) >= room:
        raise ValueError(f"{words!r} is {len(text)} bytes long: its header field holds {room - 1}")
    return text
