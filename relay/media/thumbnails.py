"""Thumbnails of a reel, kept while its frames go by: a small grey one of each, a coloured one for each second.

The grey ones are stored for good, since two prints of one reel are later aligned by them without reading either again.
"""

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from relay.media.decay import Decayed, decayed
from relay.model import ScanMap

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    Grey = NDArray[np.uint8]

COLUMNS, ROWS = 64, 48
"""Of a grey thumbnail: whatever the frame's shape, so that two scans compare pixel by pixel."""
MANY = 40_000
"""Frames, more than a 35 mm reel of 2,000 ft has, at 16 a foot; beyond, thumbnails are stored at half the size."""
STORED_LIMIT = 127 * 1024 * 1024  # bytes; an object of the store holds 128 MiB
CUT = 28.0
"""Mean difference of two thumbnails, of 255, each brought to the same mean, from which on they are two shots."""


class Coloured(NamedTuple):
    """A thumbnail as rows of red, green, blue."""

    columns: int
    rows: int
    body: bytes


@dataclass(frozen=True)
class GreyReel:
    """The grey thumbnails of one run of frames, those that could be decoded."""

    numbers: "NDArray[np.int64]"
    """Of the frames, ascending."""
    grey: "Grey"
    """Frames, rows, columns: 0 to 255, BT.709 luma of the codes as they stand in the files."""

    def on_reel(self, scan_map: ScanMap) -> "GreyReel":
        """Return them by the reel's own numbers, without the frames that `scan_map` says nothing of."""
        import numpy as np

        placed = [scan_map.reel_frame(int(number)) for number in self.numbers]
        is_placed = np.array([number is not None for number in placed], bool)
        numbers = np.array([number for number in placed if number is not None], np.int64)
        return GreyReel(numbers, self.grey if is_placed.all() else self.grey[is_placed])

    def cuts(self) -> list[int]:
        """Return the frames that begin another shot than the frame before them shows."""
        return _cuts(map(int, self.numbers), self.grey)


class Thumbnails:
    """Those of one run of frames; `every` is how many frames go by between two coloured ones."""

    def __init__(self, first: int, every: int) -> None:
        self._first = first
        self.every = max(1, every)
        self.grey: dict[int, Grey] = {}
        self.coloured: dict[int, Coloured] = {}
        """By number: of each second the first frame that could be decoded."""
        self._shown: dict[int, int] = {}

    def add(self, number: int, columns: int, rows: int, body: bytes) -> None:
        """Take the thumbnail of frame `number` in."""
        import numpy as np

        rgb = np.frombuffer(body, np.uint8).reshape(rows, columns, 3)
        luma = rgb.astype(np.uint32) @ np.array([54, 183, 19], np.uint32)  # BT.709 weights, of 256
        self.grey[number] = (_means(luma, ROWS, COLUMNS) >> 8).astype(np.uint8)
        second = (number - self._first) // self.every
        shown = self._shown.setdefault(second, number)
        if number <= shown:  # frames come in any order
            self.coloured.pop(shown, None)
            self._shown[second] = number
            self.coloured[number] = Coloured(columns, rows, body)

    def cuts(self) -> list[int]:
        """Return the frames that begin another shot than the frame before them shows."""
        numbers = sorted(self.grey)
        return _cuts(numbers, (self.grey[number] for number in numbers))

    def decayed(self) -> tuple[Decayed, ...]:
        """Return where the frames have decayed, as far as thumbnails show it."""
        import numpy as np

        numbers = sorted(self.grey)
        if not numbers:
            return ()
        return decayed(np.array(numbers), np.stack([self.grey[number] for number in numbers]), self.cuts())

    def stored(self) -> bytearray:
        """Return all grey thumbnails in NumPy's own file form: records of a frame's number and its rows, by number."""
        import numpy as np

        numbers = sorted(self.grey)
        by = 1 if len(numbers) <= MANY else 2
        head = io.BytesIO()
        form = _form(ROWS // by, COLUMNS // by)
        np.lib.format.write_array_header_1_0(
            head, {"descr": np.lib.format.dtype_to_descr(form), "fortran_order": False, "shape": (len(numbers),)}
        )
        body = bytearray(head.tell() + form.itemsize * len(numbers))
        body[: head.tell()] = head.getvalue()
        records = np.frombuffer(body, form, offset=head.tell())
        for record, number in zip(records, numbers, strict=True):
            record["number"] = number
            record["grey"] = (
                self.grey[number] if by == 1 else _means(self.grey[number].astype(np.uint32), ROWS // 2, COLUMNS // 2)
            )
        return body


def parse_thumbnails(body: bytes) -> GreyReel:
    """Return what `Thumbnails.stored` wrote, without a copy. Raises ValueError where it is something else."""
    import numpy as np

    file = io.BytesIO(body)
    if np.lib.format.read_magic(file) != (1, 0):
        raise ValueError("it is not in version 1.0 of NumPy's file form")
    shape, is_fortran, form = np.lib.format.read_array_header_1_0(file)
    if is_fortran or len(shape) != 1 or form not in (_form(ROWS, COLUMNS), _form(ROWS // 2, COLUMNS // 2)):
        raise ValueError(f"it holds {form} in the shape {shape}: expected a row of numbered grey thumbnails")
    if len(body) - file.tell() != shape[0] * form.itemsize:
        raise ValueError(f"it claims {shape[0]} thumbnails, and has {len(body) - file.tell()} bytes for them")
    records = np.frombuffer(body, form, offset=file.tell())
    return GreyReel(records["number"].astype(np.int64), records["grey"])


def _form(rows: int, columns: int) -> "np.dtype[Any]":
    import numpy as np

    return np.dtype([("number", "<i4"), ("grey", "u1", (rows, columns))])


def _means(tones: "NDArray[np.uint32]", rows: int, columns: int) -> "NDArray[np.uint32]":
    """Return `tones` in `rows` and `columns`, each the mean of what it stands for; repeated where they are fewer."""
    import numpy as np

    down = np.arange(rows) * tones.shape[0] // rows
    across = np.arange(columns) * tones.shape[1] // columns
    sums = np.add.reduceat(np.add.reduceat(tones, down, axis=0), across, axis=1)
    high = np.maximum(np.diff(down, append=tones.shape[0]), 1)
    wide = np.maximum(np.diff(across, append=tones.shape[1]), 1)
    return (sums // np.outer(high, wide)).astype(np.uint32)


def _apart(one: Any, other: Any) -> float:
    return float(abs((one - one.mean()) - (other - other.mean())).mean())


def _cuts(numbers: "Iterable[int]", grey: "Iterable[Grey]") -> list[int]:
    import numpy as np

    found, before = [], None
    for number, rows in zip(numbers, grey, strict=True):
        now = rows.astype(np.float32)
        if before is not None and _apart(before, now) >= CUT:
            found.append(number)
        before = now
    return found
