"""An uncompressed scan's words, three samples of 10 bits each, as a picture that is shrunk as it lies.

Nothing is unpacked first: FFmpeg knows the layout, but for the two bits of filling, which ST 268's method A has below
the samples and FFmpeg's `x2rgb10` above them.
"""

from typing import Any

import av
import numpy as np

from relay.media.header import DPX_HEADER, DpxHeader, parse_dpx
from relay.media.sampling import is_plain

_FILLING = 2  # bits


class PackedPicture:
    """Memory for one picture, used again for the next: pages that were just touched are cheap."""

    def __init__(self) -> None:
        self._picture: Any = None

    def of(self, body: bytes) -> Any:
        """Return the picture in a DPX file's `body`, good until the next; None where its words lie otherwise.

        Raises ValueError where the header is none.
        """
        header = parse_dpx(body[:DPX_HEADER])
        if not is_plain(header) or len(body) < header.expected_size():
            return None
        width, height = header.extent.width, header.extent.height
        words = np.frombuffer(body, _order(header), width * height, header.data_offset).reshape(height, width)
        if self._picture is None or (self._picture.width, self._picture.height) != (width, height):
            self._picture = av.VideoFrame(width, height, "x2rgb10le")
        plane: Any = self._picture.planes[0]
        lines = np.frombuffer(plane, "<u4").reshape(plane.height, plane.line_size // 4)
        np.right_shift(words, _FILLING, out=lines[:, :width])
        return self._picture


def _order(header: DpxHeader) -> str:
    return ">u4" if header.big_endian else "<u4"
