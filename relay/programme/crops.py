"""Before and after beside each other, enlarged, for a person's yes: one row a frame, as PNG. Needs Pillow."""

import io
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from relay.programme.keeping import Box, Picture

ROWS = 8
"""Frames that are shown; the highest scores first."""
_SIDE = 300
"""Pixels across which a crop is enlarged."""
_AROUND = 24
"""Pixels of picture around the region that are shown with it."""


class Pair(NamedTuple):
    """One frame, before and after; `after` lies in the place and the tones of `before`."""

    frame: int
    before: Picture
    after: Picture
    box: Box
    score: float
    is_flagged: bool


def crops(title: str, pairs: Sequence[Pair]) -> bytes:
    """Return the picture. Raises ValueError where there is nothing to show."""
    from PIL import Image, ImageDraw

    if not pairs:
        raise ValueError("no frame was compared: there is nothing to show")
    shown = sorted(sorted(pairs, key=lambda pair: -pair.score)[:ROWS])
    cells = [(pair, _enlarged(pair.before, pair), _enlarged(pair.after, pair)) for pair in shown]
    tall = max(cell.height for _, *both in cells for cell in both) + 24
    sheet = Image.new("RGB", (2 * _SIDE + 30, tall * len(cells) + 24), (24, 24, 26))
    draw = ImageDraw.Draw(sheet)
    draw.text((10, 6), f"{title}: before, after", fill=(225, 225, 220))
    for row, (pair, before, after) in enumerate(cells):
        top = 24 + row * tall
        sheet.paste(before, (10, top + 18))
        sheet.paste(after, (20 + _SIDE, top + 18))
        said = "seems gone" if pair.is_flagged else "there"
        draw.text((10, top + 3), f"frame {pair.frame}: {said} (score {pair.score:.2f})", fill=(225, 225, 220))
    out = io.BytesIO()
    sheet.save(out, "PNG")
    return out.getvalue()


def _enlarged(picture: Picture, pair: Pair):  # type: ignore[no-untyped-def]  # noqa: ANN202  Pillow is imported late
    from PIL import Image, ImageDraw

    x, y, width, height = pair.box
    left, top = max(0, x - _AROUND), max(0, y - _AROUND)
    part = picture[top : y + height + _AROUND, left : x + width + _AROUND]
    low, high = (float(each) for each in np.quantile(pair.before, [0.01, 0.99]))
    grey: NDArray[np.uint8] = (np.clip((part - low) / max(1e-3, high - low), 0, 1) * 255).astype(np.uint8)
    scale = _SIDE / max(part.shape)
    image = Image.fromarray(grey).resize(
        (round(part.shape[1] * scale), round(part.shape[0] * scale)), Image.Resampling.NEAREST
    )
    framed = image.convert("RGB")
    edge = ((x - left) * scale, (y - top) * scale, (x - left + width) * scale, (y - top + height) * scale)
    ImageDraw.Draw(framed).rectangle(edge, outline=(214, 160, 54))
    return framed
