"""Where a print has decayed, as far as thumbnails show it: blots that boil, unlike the frames to either side of them.

Pure. Decay eats each frame of a film into another shape, so that it flickers in large patches where a picture only
moves. What eats many frames alike, an even stain or a bleached edge, does not boil and is not found.
"""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from relay.model import FrameRange, Frozen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

BLOT = 4.0
"""Of 255: by how much a patch of 4 by 4 thumbnail pixels is outside all that lies there and around it just before and
just after: what moves by less than a patch stays inside."""
AROUND = 13
"""Frames over which the middle one is told: one that jumps, flashes or is dirty does not count as decayed."""
LEAST, MUCH = 1.5, 3.0
"""Percent of the picture from which on decay is told, and from which on it is told as much: whole blots are larger,
since only what is outside both neighbours counts."""
SHORTEST = 6  # frames


class Decayed(Frozen):
    """Frames that boil, one after another."""

    frames: FrameRange
    share: Annotated[float, Field(ge=0, le=100)]
    """How much of their picture does, in percent."""

    @property
    def much(self) -> bool:
        """Answer whether so much of the picture boils that it is hard to look at."""
        return self.share >= MUCH


def boiling(before: "Floats", frame: "Floats", after: "Floats") -> "Floats":
    """Return how much of each picture boils, in percent.

    Each is pictures, rows, columns of patches of 255 tones, the same pictures' neighbours before and after. The
    exposure may differ from frame to frame.
    """
    import numpy as np

    one, other = (each + np.median(frame - each, axis=(-2, -1), keepdims=True) for each in (before, after))
    low, high = _around(np.minimum(one, other), np.minimum), _around(np.maximum(one, other), np.maximum)
    return np.asarray(100 * ((frame > high + BLOT) | (frame < low - BLOT)).mean(axis=(-2, -1)), np.float32)


def _around(tones: "Floats", of: "np.ufunc") -> "Floats":
    """Return of each patch the least or greatest of itself and the eight around it."""
    import numpy as np

    padded = np.pad(tones, [(0, 0)] * (tones.ndim - 2) + [(1, 1), (1, 1)], mode="edge")
    across = of(of(padded[..., :-2], padded[..., 1:-1]), padded[..., 2:])
    return np.asarray(of(of(across[..., :-2, :], across[..., 1:-1, :]), across[..., 2:, :]), np.float32)


def patches(grey: "NDArray[np.uint8] | Floats", by: tuple[int, int] = (4, 4)) -> "Floats":
    """Return pictures as the means of patches of `by` rows and columns; what is left over at the end is left out."""
    import numpy as np

    rows, columns = grey.shape[-2] // by[0], grey.shape[-1] // by[1]
    cut = grey[..., : rows * by[0], : columns * by[1]]
    means = cut.reshape(*grey.shape[:-2], rows, by[0], columns, by[1]).mean(axis=(-3, -1), dtype=np.float32)
    return np.asarray(means, np.float32)


def decayed(numbers: "NDArray[np.int64]", grey: "NDArray[np.uint8]", cuts: Iterable[int]) -> tuple[Decayed, ...]:
    """Return where a reel has decayed: by its frames' `numbers`, ascending, their thumbnails, the first of shots."""
    import numpy as np
    from numpy.lib.stride_tricks import sliding_window_view

    found: list[Decayed] = []
    for first, last in _shots(numbers, set(cuts)):
        if last - first < max(SHORTEST, 3):
            continue
        small = patches(grey[first:last])
        share = np.concatenate([[0], boiling(small[:-2], small[1:-1], small[2:]), [0]])
        share[0], share[-1] = share[1], share[-2]
        padded = np.pad(share, AROUND // 2, mode="edge")
        told = np.median(sliding_window_view(padded, AROUND), axis=-1)
        for a, b in _over(told):
            frames = FrameRange(first=int(numbers[first + a]), last=int(numbers[first + b - 1]))
            found += [Decayed(frames=frames, share=round(float(told[a:b].mean()), 1))] if b - a >= SHORTEST else []
    return tuple(found)


def _shots(numbers: "NDArray[np.int64]", cuts: set[int]) -> Iterator[tuple[int, int]]:
    """Yield the places of frames that follow one another without a cut or a gap: the first, and one past the last."""
    start = 0
    for place in range(1, len(numbers) + 1):
        if place == len(numbers) or numbers[place] != numbers[place - 1] + 1 or int(numbers[place]) in cuts:
            yield start, place
            start = place


def _over(told: "NDArray[np.float64]") -> Iterator[tuple[int, int]]:
    start: int | None = None
    for place in range(len(told) + 1):
        is_over = place < len(told) and told[place] >= LEAST
        if is_over and start is None:
            start = place
        elif not is_over and start is not None:
            yield start, place
            start = None
