"""One movie watched to its end: how many pictures it holds, of which size, and where it is black, clear or frozen.

Runs in a child process.
"""

import hashlib
import re
from fractions import Fraction
from itertools import islice, pairwise
from typing import Any

import av
import numpy as np
from av.video.reformatter import VideoReformatter

from relay.media.allowance import Allow, for_movie

THREADS = 2
"""Of the decoder: one for each core would take of the memory that is allowed."""
FRAME_LIMIT = 500_000
_PIXELS = 64 * 1024 * 1024


def watched(path: str, allow: Allow) -> dict[str, Any]:
    """Return what a movie holds. Raises ValueError where it cannot be read to its end."""
    try:
        with av.open(path) as container:
            if not container.streams.video:
                raise ValueError("it holds no picture")
            stream = container.streams.video[0]
            if stream.width * stream.height > _PIXELS or not stream.width:
                raise ValueError(f"it claims {stream.width}x{stream.height} pixels: expected at most {_PIXELS}")
            stream.codec_context.thread_count = THREADS
            rate, codec = stream.average_rate, stream.codec_context.name
            claimed = stream.frames or _by_duration(stream.metadata.get("DURATION", ""), rate)
            width, height = stream.width, stream.height
            allow(for_movie(width, height, claimed or None))
            levels, gaps = _levels(container), _gaps_told(container.metadata.get("comment", ""), path)
    except (av.FFmpegError, UnicodeDecodeError) as fault:
        raise ValueError(f"it cannot be read as a movie: {fault}") from fault
    facts: dict[str, Any] = {"frames": len(levels), "width": width, "height": height, "codec": codec}
    facts |= {"movie_rate": str(rate or ""), "levels": levels, "gaps": gaps}
    if claimed > len(levels):
        facts["short"] = f"its header claims {claimed} pictures, it holds {len(levels)}"
    return facts


def _gaps_told(comment: str, path: str) -> list[tuple[int, int]]:
    """Return the pictures, from and to, that a reference copy says are black since the reel has none there."""
    from relay.media.reference import read_copy

    if not comment.startswith("{"):
        return []
    try:
        copy = read_copy(path)
    except ValueError:
        return []
    return [
        (copy.picture_of(before.last + 1), copy.picture_of(after.first) - 1) for before, after in pairwise(copy.held)
    ]


def _by_duration(told: str, rate: Fraction | None) -> int:
    """Return how many pictures a track holds by its length, as Matroska tells it (RFC 9559's tags): all but the last.

    A writer may round the length, and end the track where its last picture begins.
    """
    found = re.fullmatch(r"(\d+):(\d\d):(\d\d(?:\.\d+)?)", told)
    if not found or not rate:
        return 0
    hours, minutes, seconds = map(Fraction, found.groups())
    return max(0, round((hours * 3600 + minutes * 60 + seconds) * rate) - 1)


def _levels(container: Any) -> list[tuple[float, float, str]]:
    """Return of each picture the levels 2 of 100 pixels lie below and above, and a mark that equal pictures share."""
    shrink, found = VideoReformatter(), []
    for frame in islice(container.decode(video=0), FRAME_LIMIT):
        wide, high = min(64, frame.width), min(48, frame.height)
        small = shrink.reformat(frame, wide, high, format="gray", interpolation="AREA", threads=1)
        gray = np.asarray(small.to_ndarray())
        dark, light = np.percentile(gray.astype(np.float32), (2, 98)) / 255.0
        found.append(
            (round(float(dark), 4), round(float(light), 4), hashlib.blake2b(gray.tobytes(), digest_size=6).hexdigest())
        )
    return found
