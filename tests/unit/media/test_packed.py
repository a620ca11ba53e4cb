"""A scan's words as they lie are the picture that FFmpeg's DPX decoder makes of the same file."""

from pathlib import Path

import av
import numpy as np
import pytest

from relay.media.header import DPX_HEADER, parse_dpx
from relay.media.packed import PackedPicture
from relay.media.reference import decoded
from tests.references.damage import written

WIDE, HIGH = 70, 45
"""No multiple of what FFmpeg pads lines to."""


def frame(place: Path, endian: str, packing: str = "Filled, method A", seed: int = 1) -> Path:
    picture = np.random.default_rng(seed).integers(0, 65536, (HIGH, WIDE, 3), dtype=np.uint16)
    written(place, picture, 10, endian, packing)
    return place


def samples(picture: av.VideoFrame) -> np.ndarray:
    """Return rows, columns, red green blue in codes of 1,023."""
    return np.asarray(picture.to_ndarray(format="rgb48le")).astype(int) >> 6


@pytest.mark.parametrize("endian", ["big", "little"])
def test_words_are_the_picture_that_ffmpegs_decoder_makes_of_them(tmp_path: Path, endian: str):
    packed = PackedPicture()
    for seed in range(3):  # in the same memory, one after another
        path = frame(tmp_path / f"{seed}.dpx", endian, seed=seed)
        assert parse_dpx(path.read_bytes()[:DPX_HEADER]).big_endian == (endian == "big")
        found = packed.of(path.read_bytes())
        assert abs(samples(found) - samples(decoded(path))).max() <= 1


def test_what_lies_otherwise_or_ends_early_is_left_to_the_decoder(tmp_path: Path):
    assert PackedPicture().of(frame(tmp_path / "b.dpx", "big", "Filled, method B").read_bytes()) is None
    whole = frame(tmp_path / "a.dpx", "big").read_bytes()
    assert PackedPicture().of(whole) is not None
    assert PackedPicture().of(whole[:-4]) is None
    with pytest.raises(ValueError, match="its header"):
        PackedPicture().of(b"SDPX")
