"""Frames that are seen without being decoded, against OpenImageIO, which decodes them whole."""

import struct
from pathlib import Path

import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from relay.media.header import parse_dpx
from relay.media.sampling import is_plain, sampled
from tests.references.damage import written

HEIGHT, WIDTH = 301, 400
GRAIN = np.random.default_rng(8)


def frame(place: Path, endian: str = "big", bits: int = 10, channels: int = 3) -> bytes:
    return written(place, GRAIN.integers(0, 65536, (HEIGHT, WIDTH, channels), dtype=np.uint16), bits, endian)


@pytest.fixture(scope="module")
def body(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return frame(tmp_path_factory.mktemp("one") / "a.dpx")


def mark_of(body: bytes | bytearray) -> str:
    found = sampled(parse_dpx(bytes(body[:2048])), memoryview(body), 96, 128)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("endian", ["big", "little"])
def test_each_sample_is_the_mean_of_two_rows_as_openimageio_decodes_them(tmp_path: Path, endian: str):
    place = tmp_path / "a.dpx"
    body = frame(place, endian)
    header = parse_dpx(body[:2048])
    assert is_plain(header)
    found = sampled(header, memoryview(body), 96, 128)
    assert found is not None
    pixels = oiio.ImageInput.open(str(place)).read_image(oiio.UINT16).astype(float)
    for line, column in ((0, 0), (40, 77), (95, 127)):
        rows = [place * HEIGHT // 192 for place in (2 * line, 2 * line + 1)]
        left, right = column * WIDTH // 128, (column + 1) * WIDTH // 128
        mean = pixels[rows, left:right].mean(axis=(0, 1))
        assert np.abs(found[0][line, column] - mean).max() <= 65535 / 1023  # one code of ten bits


@pytest.mark.parametrize(("bits", "channels"), [(8, 3), (12, 3), (16, 3), (10, 1), (10, 4)])
def test_every_other_form_is_left_to_a_decoder(tmp_path: Path, bits: int, channels: int):
    assert not is_plain(parse_dpx(frame(tmp_path / "a.dpx", "big", bits, channels)[:2048]))


# Packed, method B, run lengths, four bytes after each line: ST 268's fields of an image element.
@pytest.mark.parametrize(("offset", "field"), [(804, 0), (804, 2), (806, 1), (814, 4)])
def test_a_header_that_says_otherwise_is_left_to_a_decoder(body: bytes, offset: int, field: int):
    head = bytearray(body[:2048])
    struct.pack_into(">H", head, offset, field)
    assert is_plain(parse_dpx(body[:2048]))
    assert not is_plain(parse_dpx(bytes(head)))


@given(place=st.integers(0, HEIGHT * WIDTH - 1), bit=st.integers(2, 31))
def test_one_bit_anywhere_in_the_pixels_makes_another_mark(body: bytes, place: int, bit: int):
    changed = bytearray(body)
    at = parse_dpx(body[:2048]).data_offset + 4 * place + (31 - bit) // 8
    changed[at] ^= 1 << (bit % 8)
    assert mark_of(changed) != mark_of(body)


PLACES = st.tuples(st.integers(0, HEIGHT - 1), st.integers(0, WIDTH - 1))


@given(first=PLACES, other=PLACES)
@example(first=(50, 7), other=(53, 7))  # straight down, and straight across by a whole pair of words
@example(first=(50, 8), other=(50, 12))
def test_a_dot_that_moved_on_a_drawn_card_makes_another_mark(first: tuple[int, int], other: tuple[int, int]):
    head = bytearray(2048)
    head[:4] = b"SDPX"
    struct.pack_into(">I", head, 4, 2048)
    struct.pack_into(">HHII", head, 768, 0, 1, WIDTH, HEIGHT)
    head[800:804] = bytes((50, 1, 1, 10))
    struct.pack_into(">HH", head, 804, 1, 0)
    cards = []
    for place in (first, other):
        card = np.full((HEIGHT, WIDTH), 95 << 22 | 95 << 12 | 95 << 2, ">u4")
        card[place] = 685 << 22 | 685 << 12 | 685 << 2
        cards.append(mark_of(bytes(head) + card.tobytes()))
    assert (cards[0] == cards[1]) is (first == other)


def test_equal_pixels_under_another_header_have_the_same_mark(body: bytes):
    changed = bytearray(body)
    struct.pack_into(">I", changed, 1712, 41)  # the frame's position
    assert mark_of(changed) == mark_of(body)
