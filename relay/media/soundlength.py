"""How long a file of sound is, by its header alone: WAV (also RF64 and BW64) and FLAC. Pure: bytes in, values out.

A length that is read without decoding serves wherever pictures are fitted to a sound; what the sound holds is looked
at by an inspection. Layouts: EBU Tech 3306 for the `ds64` chunk; RFC 9639, section 8.2, for FLAC's STREAMINFO.
"""

import struct
from fractions import Fraction
from typing import NamedTuple

HEAD = 1024 * 1024
"""Bytes of a file's beginning that are enough: a Broadcast WAV may carry long texts ahead of its samples."""
_CHUNKS = 256


class SoundLength(NamedTuple):
    """Samples of each channel, and samples a second."""

    samples: int
    rate: int

    def seconds(self) -> Fraction:
        return Fraction(self.samples, self.rate)


def parse_sound_length(head: bytes, size: int) -> SoundLength:
    """Return the length of the sound whose file of `size` bytes begins with `head`. Raises ValueError."""
    try:
        if head[:4] in {b"RIFF", b"RF64", b"BW64"} and head[8:12] == b"WAVE":
            return _wave(head, size)
        if head[:4] == b"fLaC":
            return _flac(head)
    except struct.error as fault:
        raise ValueError(f"it ends after {size} bytes, or carries its format too far in to be read") from fault
    raise ValueError(f"it begins with {head[:4]!r}: expected a WAV or FLAC file")


def _wave(head: bytes, size: int) -> SoundLength:
    at, rate, block, long_data = 12, 0, 0, 0
    for _ in range(_CHUNKS):
        name, length = struct.unpack_from("<4sI", head, at)
        at += 8
        if name == b"ds64":
            _, long_data = struct.unpack_from("<QQ", head, at)
        elif name == b"fmt ":
            rate, _, block = struct.unpack_from("<IIH", head, at + 4)
        elif name == b"data":
            held = long_data if length == 0xFFFFFFFF else length
            return _checked(held, at, size, rate, block)
        at += length + length % 2
    raise ValueError(f"no samples begin within its first {_CHUNKS} chunks")


def _checked(held: int, at: int, size: int, rate: int, block: int) -> SoundLength:
    if not rate or not block:
        raise ValueError("its header gives no samples a second, or none before its samples begin")
    if held > size - at:
        raise ValueError(f"its header claims {held} bytes of samples, it holds {size - at}: copy the sound again")
    return SoundLength(held // block, rate)


def _flac(head: bytes) -> SoundLength:
    if head[4] & 0x7F:
        raise ValueError("its first block is no STREAMINFO, as a FLAC file's must be")
    (packed,) = struct.unpack_from(">Q", head, 18)
    rate, samples = packed >> 44, packed & (1 << 36) - 1
    if not rate or not samples:
        raise ValueError("its header does not say how many samples it holds: write it again with its length")
    return SoundLength(samples, rate)
