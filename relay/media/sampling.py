"""An uncompressed scan seen without decoding it: three samples of 10 bits to a word, and some of its rows are enough.

Nothing can fail to decode in such a frame once its length is right, so a thumbnail of two rows a line, and a mark that
every word goes into, say what a whole decoding would, in a quarter of its time.
"""

import hashlib

import numpy as np
from numpy.typing import NDArray

from relay.media.header import DpxHeader

_RGB, _FILLED_A = 50, 1
_OUTER, _INNER = np.uint32(0x3FF003FF), np.uint32(0x3FF)
"""In a word moved right by 2, red and blue; moved right by 12, green (SMPTE ST 268, 10 bits, filled, method A)."""
_CELL_LIMIT = 512
"""Columns that one sample of the thumbnail may stand for: the sum of blue then stays clear of red's."""
_EXACT_EVERY = 4

Words = NDArray[np.uint32]


def is_plain(header: DpxHeader) -> bool:
    """Answer whether a frame's samples lie three to a word, red, green and blue, with nothing between."""
    extent = header.extent
    is_whole = header.encoding in {0, 0xFFFF} and not header.line_padding and header.data_offset % 4 == 0
    return is_whole and extent.bits == 10 and header.descriptor == _RGB and header.packing == _FILLED_A


def sampled(header: DpxHeader, body: memoryview, lines: int, columns: int) -> tuple[NDArray[np.uint16], str] | None:
    """Return a thumbnail of `lines` by `columns`, 16 bits a sample, and a mark that only equal pixels share.

    None where the frame is so wide that a sum would overflow. `body` must hold all of its pixels.
    """
    width, height = header.extent.width, header.extent.height
    across = np.arange(columns, dtype=np.int64) * width // columns
    counts = np.diff(across, append=width)
    if counts.max() > _CELL_LIMIT:
        return None
    order = ">u4" if header.big_endian else "<u4"
    words = np.frombuffer(body, order, width * height, header.data_offset).reshape(height, width)
    rows = np.take(words, np.arange(2 * lines) * height // (2 * lines), axis=0).astype(np.uint32)
    outer = _sums((rows >> np.uint32(2)) & _OUTER, across)
    green = _sums((rows >> np.uint32(12)) & _INNER, across)
    sums = np.stack([outer >> np.uint64(20), green, outer & np.uint64(0xFFFFF)], axis=2)
    thumb = sums * np.uint64(65535) // (counts.astype(np.uint64) * np.uint64(2 * 1023))[None, :, None]
    return thumb.astype(np.uint16), _mark(words, rows)


def _sums(fields: Words, across: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Return the sums of two rows each, in columns that begin at `across`."""
    return np.add.reduceat((fields[::2] + fields[1::2]).astype(np.uint64), across, axis=1)


def _mark(words: Words, rows: Words) -> str:
    """Hash some rows exactly, and of every word of the frame the sums by row and by column: any change shows."""
    wide: NDArray[np.uint64] | Words = words.view(np.uint64) if words.shape[1] % 2 == 0 else words
    mark = hashlib.sha256(rows[::_EXACT_EVERY].tobytes())
    for axis in (0, 1):
        mark.update(wide.sum(axis=axis, dtype=np.uint64).tobytes())
    return mark.hexdigest()[:16]
