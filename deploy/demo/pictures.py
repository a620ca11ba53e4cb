"""What the demo does to scanned frames: small reference copies, dirt mended by the frames beside, one tone for all."""

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from deploy.demo.dpx import HEADER_BYTES, packed

Planes = NDArray[np.uint16]
"""Red, green and blue; rows; columns; codes from 0 to 1023."""

DIRT = 90
"""Codes by which a spot differs from both frames beside it where it is dirt, not movement."""

_SIZE_AT, _NAME_AT, _COLUMNS_AT = 16, 36, 772  # SMPTE ST 268: bytes of the header
_NAME_ROOM = 100
_SHADES = {"A": (0, 0, 0), "B": (0, -14, -52), "C": (-6, -20, -58)}
"""Codes that bring each print to the tone of the tinted one."""


def read_dpx(path: Path) -> tuple[bytes, Planes]:
    """Return the header and the codes of a picture as `write_dpx` writes them. Raises ValueError for another."""
    raw = path.read_bytes()
    columns, rows = struct.unpack_from(">II", raw, _COLUMNS_AT)
    if raw[:4] != b"SDPX" or len(raw) != HEADER_BYTES + 4 * columns * rows:
        raise ValueError(f"{path} is none of the demo's frames")
    words = np.frombuffer(raw, ">u4", offset=HEADER_BYTES).reshape(rows, columns)
    return raw[:HEADER_BYTES], np.stack([(words >> shift & 1023).astype(np.uint16) for shift in (22, 12, 2)])


def write_like(path: Path, header: bytes, planes: Planes) -> None:
    """Write `planes` as `path` with another picture's header, which is told the new name and size."""
    told, (_, rows, columns) = bytearray(header), planes.shape
    struct.pack_into(">I", told, _SIZE_AT, HEADER_BYTES + 4 * rows * columns)
    struct.pack_into(f"{_NAME_ROOM}s", told, _NAME_AT, path.name.encode("ascii"))
    struct.pack_into(">II", told, _COLUMNS_AT, columns, rows)
    path.write_bytes(bytes(told) + packed(planes).tobytes())


def mended(before: Planes, picture: Planes, after: Planes) -> Planes:
    """Return `picture` with what differs from both frames beside it, in the same way, taken from between them."""
    low, high = np.minimum(before, after).astype(np.int16), np.maximum(before, after).astype(np.int16)
    codes = picture.astype(np.int16)
    dirty = (codes < low - DIRT) | (codes > high + DIRT)
    return np.where(dirty, (low + high) // 2, codes).astype(np.uint16)


def graded(planes: Planes, print_name: str) -> Planes:
    """Return the picture in the programme's tone: blacks a little deeper, the prints without tints warmed."""
    codes = (planes.astype(np.int16) - 95) * 21 // 20 + 92
    shade = np.array(_SHADES[print_name], np.int16)[:, np.newaxis, np.newaxis]
    return np.clip(codes + shade, 0, 1023).astype(np.uint16)
