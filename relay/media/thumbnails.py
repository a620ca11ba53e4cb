"""Thumbnails of a reel, kept while its frames go by: a small grey one of each, a coloured one for each second.

The grey ones are stored for good, since two prints of one reel are later aligned by them without reading either again.
"""

import io
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grey = NDArray[np.uint8]

COLUMNS, ROWS = 64, 48
"""Of a grey thumbnail: whatever the frame's shape, so that two scans compare pixel by pixel."""
CUT = 28.0
"""Mean difference of two thumbnails, of 255, each brought to the same mean, from which on they are two shots."""


class Coloured(NamedTuple):
    """A thumbnail as rows of red, green, blue."""

    columns: int
    rows: int
    body: bytes


class Thumbnails:
    """Those of one run of frames; `every` is how many frames go by between two coloured ones."""

    def __init__(self, first: int, every: int) -> None:
        self._first = first
        self.every = max(1, every)
        self.grey: dict[int, Grey] = {}
        self.coloured: dict[int, Coloured] = {}

    def add(self, number: int, columns: int, rows: int, body: bytes) -> None:
        """Take the thumbnail of frame `number` in."""
        import numpy as np

        rgb = np.frombuffer(body, np.uint8).reshape(rows, columns, 3)
        luma = (rgb @ np.array([54, 183, 19], np.uint32) >> 8).astype(np.uint8)  # BT.709 weights, of 256
        down = np.arange(ROWS) * rows // ROWS
        across = np.arange(COLUMNS) * columns // COLUMNS
        self.grey[number] = luma[down[:, None], across[None, :]]
        if (number - self._first) % self.every == 0:
            self.coloured[number] = Coloured(columns, rows, body)

    def cuts(self) -> list[int]:
        """Return the frames that begin another shot than the frame before them shows."""
        import numpy as np

        found, before = [], None
        for number in sorted(self.grey):
            now = self.grey[number].astype(np.float32)
            if before is not None and _apart(before, now) >= CUT:
                found.append(number)
            before = now
        return found

    def stored(self) -> bytes:
        """Return all grey thumbnails in NumPy's own file form: frames, rows, columns; unsigned bytes; by number.

        A number that has no frame is black there, so that a place in the file is a place on the reel.
        """
        import numpy as np

        numbers = sorted(self.grey)
        reel: NDArray[Any] = np.zeros((numbers[-1] - numbers[0] + 1 if numbers else 0, ROWS, COLUMNS), np.uint8)
        for number in numbers:
            reel[number - numbers[0]] = self.grey[number]
        body = io.BytesIO()
        np.save(body, reel, allow_pickle=False)
        return body.getvalue()


def _apart(one: Any, other: Any) -> float:
    return float(abs((one - one.mean()) - (other - other.mean())).mean())
