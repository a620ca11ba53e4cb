"""A sound's length by its header, against the library that decodes it."""

import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from relay.media.soundlength import parse_sound_length


@pytest.mark.parametrize(
    ("name", "how"),
    [
        ("a.wav", {"subtype": "PCM_24"}),
        ("a.wav", {"subtype": "FLOAT"}),
        ("a.wav", {"format": "RF64", "subtype": "PCM_16"}),
        ("a.wav", {"format": "WAVEX", "subtype": "PCM_24"}),
        ("a.flac", {"subtype": "PCM_24"}),
    ],
)
@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_the_header_tells_what_was_written(tmp_path: Path, name: str, how: dict[str, str], rate: int):
    path = tmp_path / name
    soundfile.write(path, np.zeros((12_345, 2)), rate, **how)
    body = path.read_bytes()
    found = parse_sound_length(body[:1024], len(body))
    info = soundfile.info(path)
    assert (found.samples, found.rate) == (info.frames, info.samplerate) == (12_345, rate)
    assert found.seconds() == Fraction(12_345, rate)


def test_a_wav_that_ends_before_its_samples_do_is_refused(tmp_path: Path):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((1000, 2)), 48_000, subtype="PCM_16")
    with pytest.raises(ValueError, match="claims 4000 bytes of samples, it holds 3999"):
        parse_sound_length(path.read_bytes()[:200], path.stat().st_size - 1)


@pytest.mark.parametrize(
    "head",
    [
        b"",
        b"RIFF\0\0\0\0WAVE",
        b"RIFF\0\0\0\0WAVEdata\x08\0\0\0",
        b"RIFF\0\0\0\0WAVEfmt " + struct.pack("<I", 0xFFFFFF),
        b"RF64\0\0\0\0WAVEds64\x1c",
        b"fLaC\0\0\0\x22",
        b"fLaC\x01" + bytes(40),
        b"fLaC\0\0\0\x22" + bytes(40),
        b"\x89PNG" + bytes(100),
        (b"RIFF\0\0\0\0WAVE" + b"junk\0\0\0\0" * 300),
    ],
)
def test_what_is_no_sound_or_says_no_length_is_refused(head: bytes):
    with pytest.raises(ValueError, match=r"it |its |no samples"):
        parse_sound_length(head, len(head))
