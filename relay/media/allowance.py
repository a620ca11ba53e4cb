"""What looking at one file may take, in memory and time: bounds from what its header claims. Pure."""

from collections.abc import Callable
from typing import NamedTuple

SECONDS = 20
"""For a file of no size at all."""
SLACK = 192 * 1024 * 1024
"""Bytes that decoders may take beside what they decode."""
MOVIE_LIMIT = 2 * 1024 * 1024 * 1024
"""Bytes of a movie's pictures at once, whatever it claims."""
_MOVIE_BYTES = 6  # a pixel, at most: three samples of 16 bits
_MOVIE_PICTURES = 24  # that a decoder may hold at once: 16 that others refer to (H.264, annex A), and some on their way


class Allowance(NamedTuple):
    """Bounds for one look."""

    memory: int
    """Bytes, beside what the process takes before it looks at anything, and what it shares."""
    seconds: int

    def at_most(self, seconds: int | None) -> "Allowance":
        """Return the same, with no more than `seconds`."""
        return self if seconds is None else self._replace(seconds=min(self.seconds, seconds))


Allow = Callable[[Allowance], None]
"""Called by whoever has read a header, before it decodes."""

UNREAD = Allowance(2 * SLACK, SECONDS)
"""While a header is read: nothing is known of the file yet."""


def for_picture(decoded: int) -> Allowance:
    """Return what a picture of `decoded` bytes may take: four times it."""
    return Allowance(4 * decoded + SLACK, SECONDS + decoded // 1_000_000)


def for_crop(decoded: int) -> Allowance:
    """Return what a part of such a picture may take: it is read from a file, and kept as floating point for a while."""
    return Allowance(4 * decoded + 2 * SLACK, SECONDS + decoded // 1_000_000)


def for_sound(samples: int, channels: int, block: int) -> Allowance:
    """Return what a sound may take that is read in blocks of `block` samples: a few copies of one, 4 bytes each."""
    return Allowance(2 * SLACK + 16 * block * channels, SECONDS + max(0, samples) * channels // 1_000_000)


def for_copy(width: int, height: int) -> int:
    """Return the bytes that a reference copy of such frames may take: two dozen of them, decoded, and an encoder."""
    return 4 * SLACK + _MOVIE_PICTURES * _MOVIE_BYTES * width * height


def for_movie(width: int, height: int, pictures: int | None) -> Allowance:
    """Return what a movie may take; `pictures`: None where its header does not count them, then time is not bounded."""
    held = min(_MOVIE_PICTURES * _MOVIE_BYTES * width * height, MOVIE_LIMIT)
    seconds = 24 * 3600 if pictures is None else SECONDS + pictures * width * height // 5_000_000
    return Allowance(4 * SLACK + held, seconds)
