"""A part of a picture as grey values, with what lies around it. Runs in a child process: a stranger made the bytes."""

import base64
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from relay.media.allowance import Allow, for_crop
from relay.media.seeing import check_extent, opened

LONGEST = 1024
"""Pixels of a crop's side: what a child's answer has room for."""


def cropped(path: str, kind: str, box: tuple[int, int, int, int], margin: int, allow: Allow) -> dict[str, Any]:
    """Return the grey values within `margin` pixels of `box` (x, y, width, height), 16-bit, and where they lie.

    Grey is the mean of the first three channels' codes. Raises ValueError where the picture does not hold the box.
    """
    allow(for_crop(check_extent(kind, Path(path).read_bytes())))
    _, pixels = opened(path, kind)
    tall, wide = pixels.shape[:2]
    x, y, width, height = box
    if x + width > wide or y + height > tall:
        raise ValueError(f"it is {wide}x{tall} pixels: the part at {x},{y} of {width}x{height} is not in it")
    left, top = max(0, x - margin), max(0, y - margin)
    part = pixels[top : min(tall, y + height + margin), left : min(wide, x + width + margin), :3]
    if max(part.shape[:2]) > LONGEST:
        raise ValueError(
            f"a part of {width}x{height} pixels is too large: expected at most {LONGEST - 2 * margin} a side"
        )
    grey = part.astype(np.float32).mean(-1).round().astype("<u2")
    return {
        "left": left,
        "top": top,
        "picture": [wide, tall],
        "shape": list(grey.shape),
        "grey": base64.b64encode(grey.tobytes()).decode("ascii"),
    }


def grey_of(facts: dict[str, Any]) -> NDArray[np.float32]:
    """Return the values in what `cropped` gave, from 0 to 1."""
    values = np.frombuffer(base64.b64decode(facts["grey"]), "<u2").reshape(facts["shape"])
    return (values / np.float32(65535)).astype(np.float32)
