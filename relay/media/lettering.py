"""Letters as arrays of light: a line to write under a picture, and a slate in the place of one."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_WHITE, _DARK = 235, 16


@lru_cache(maxsize=512)
def lettered(text: str, high: int) -> NDArray[np.uint8]:
    """Return `text` in white on black, `high` lines high: rows, columns."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(high * 2 // 3)
    page = Image.new("L", (max(1, round(font.getlength(text))), high), _DARK)
    ImageDraw.Draw(page).text((0, high // 2), text, fill=_WHITE, font=font, anchor="lm")
    return np.asarray(page)


def shortened(text: str, high: int, room: int) -> NDArray[np.uint8]:
    """Return `text` as `lettered` does, in `room` columns at most: smaller if need be, then with an ellipsis."""
    letters, shown = lettered(text, high), text
    while letters.shape[1] > room and letters.shape[0] > max(12, high // 2):
        letters = lettered(text, letters.shape[0] - 2)
    while letters.shape[1] > room and shown:
        shown = shown[:-1].rstrip()
        letters = lettered(shown + "…", letters.shape[0])
    return letters[:, : max(0, room)]


def slate(lines: Sequence[str], wide: int, high: int) -> NDArray[np.uint8]:
    """Return a slate: each line in the middle, as large as fits; rows, columns, red green blue."""
    page = np.full((high, wide, 3), 40, np.uint8)
    size = max(12, high // (2 * max(3, len(lines))))
    top = (high - 2 * size * len(lines)) // 2
    for number, text in enumerate(lines):
        letters = lettered(text, size)
        while letters.shape[1] > wide - 16 and letters.shape[0] > 8:
            letters = lettered(text, letters.shape[0] * 3 // 4)
        letters = letters[:, : wide - 16]
        row, left = top + 2 * size * number + size // 2, (wide - letters.shape[1]) // 2
        page[row : row + letters.shape[0], left : left + letters.shape[1]] = np.maximum(letters, 40)[..., None]
    return page
