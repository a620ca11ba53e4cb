"""Header fields are read where SMPTE ST 268 has them, against DPX files of two writers that are not ours.

Offsets and figures: published field tables of the standard, and the files that OpenImageIO and PyAV write.
"""

import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import pytest

from relay.media.header import extent_of, packing_named, parse_dpx
from relay.media.seeing import Eye
from tests.references.damage import titled, written

PICTURE = (np.arange(32 * 24 * 3, dtype=np.uint16).reshape(24, 32, 3) * 28).astype(np.uint16)


def test_film_fields_are_what_openimageio_reads_of_the_same_header(tmp_path: Path):
    body = titled(written(tmp_path / "a.dpx", PICTURE), 41, 1440, 18.0, 64 * 1234 + 20, b"654321")
    place = tmp_path / "b.dpx"
    place.write_bytes(body)
    spec = oiio.ImageInput.open(str(place)).spec()
    header = parse_dpx(body[:2048])
    assert (header.position, header.sequence_length, header.held, header.rate) == (41, 1440, 1, 18.0)
    assert spec.get_int_attribute("dpx:FramePosition") == header.position
    assert spec.get_int_attribute("dpx:SequenceLength") == header.sequence_length
    assert spec.get_int_attribute("dpx:HeldCount") == header.held
    assert spec.get_float_attribute("dpx:FrameRate") == header.rate
    assert (header.edge_roll, header.edge_count, header.edge_offset) == ("02-01-654321", 1234, 20)
    code = spec.getattribute("smpte:KeyCode")
    assert tuple(code[:5]) == (2, 1, 654321, 1234, 20)


@pytest.mark.parametrize("endian", ["big", "little"])
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
@pytest.mark.parametrize("channels", [1, 3, 4])
@pytest.mark.parametrize("packing", ["Packed", "Filled, method A", "Filled, method B"])
def test_every_form_that_openimageio_writes_is_seen_whole(
    tmp_path: Path, bits: int, endian: str, channels: int, packing: str
):
    picture = np.concatenate([PICTURE, PICTURE[:, :, :1]], axis=2)[:, :, :channels]
    body = written(tmp_path / "a.dpx", picture, bits, endian, packing)
    header = parse_dpx(body[:2048])
    assert (header.extent.width, header.extent.height, header.extent.bits) == (32, 24, bits)
    assert header.extent.channels == channels
    assert header.big_endian is (endian == "big")
    assert header.data_offset < header.expected_size() <= len(body)
    seen, thumb = Eye().see("dpx", memoryview(body), str(tmp_path / "a.dpx"))
    assert seen.fault == ""
    assert thumb is not None
    expected = np.repeat(picture[:, :, :1], 3, axis=2) if channels == 1 else picture[:, :, :3]
    assert np.abs(thumb.astype(int) - expected).max() <= 2 * 65536 / 2**bits  # two codes: each library rounds its way


@pytest.mark.parametrize("form", [form.name for form in av.codec.Codec("dpx", "w").video_formats or ()])
def test_every_form_that_pyav_writes_is_seen_whole(tmp_path: Path, form: str):
    encoder = av.CodecContext.create("dpx", "w")
    encoder.width, encoder.height, encoder.pix_fmt, encoder.time_base = 32, 24, form, Fraction(1, 24)
    frame = av.VideoFrame.from_ndarray(PICTURE, "rgb48le").reformat(format=form)
    body = b"".join(bytes(packet) for packet in (*encoder.encode(frame), *encoder.encode(None)))
    (tmp_path / "a.dpx").write_bytes(body)
    seen, thumb = Eye().see("dpx", memoryview(body), str(tmp_path / "a.dpx"))
    assert (seen.fault, seen.width, seen.height) == ("", 32, 24)
    assert thumb is not None
    expected = frame.reformat(format="rgb48le").to_ndarray().astype(int)
    assert np.abs(thumb - expected).max() <= 3 * 65536 / 2**seen.bits
    spec = oiio.ImageInput.open(str(tmp_path / "a.dpx")).spec()
    assert (seen.channels, seen.bits) == (spec.nchannels, spec.get_int_attribute("oiio:BitsPerSample", 8))


def test_a_byte_less_than_the_pixels_need_is_too_short(tmp_path: Path):
    body = written(tmp_path / "a.dpx", PICTURE)
    header = parse_dpx(body[:2048])
    # 32 x 24 pixels, three codes of ten bits to a word of four bytes ("filled"), after the offset that the file names.
    assert header.expected_size() == struct.unpack_from("<I", body, 4)[0] + 32 * 24 * 4
    (tmp_path / "b.dpx").write_bytes(body[: header.expected_size() - 1])
    seen, thumb = Eye().see("dpx", memoryview(body[: header.expected_size() - 1]), str(tmp_path / "b.dpx"))
    assert seen.is_short
    assert thumb is None
    assert "pixels need" in seen.fault


def test_a_full_frame_of_2048_by_1556_needs_the_published_size():
    head = bytearray(2048)
    head[:4] = b"SDPX"
    struct.pack_into(">I", head, 4, 2048)
    struct.pack_into(">HHII", head, 768, 0, 1, 2048, 1556)
    head[800:804] = bytes((50, 1, 1, 10))
    struct.pack_into(">HH", head, 804, 1, 0)
    # 12,746,752 bytes of pixels: what two writers that are not ours leave
    assert parse_dpx(bytes(head)).expected_size() == 2048 + 12_746_752
    assert packing_named(1, big_endian=True) == "filled, method A, big-endian"


@pytest.mark.parametrize(("kind", "form"), [("tif", oiio.UINT16), ("png", oiio.UINT16), ("exr", oiio.HALF)])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_other_kinds_claim_what_openimageio_wrote(tmp_path: Path, kind: str, form: object, channels: int):
    place = tmp_path / f"a.{kind}"
    spec = oiio.ImageSpec(32, 24, channels, form)
    output = oiio.ImageOutput.create(str(place))
    assert output.open(str(place), spec)
    assert output.write_image(np.repeat(PICTURE[:, :, :1], channels, axis=2))
    output.close()
    extent = extent_of(kind, place.read_bytes())
    assert (extent.width, extent.height, extent.channels) == (32, 24, channels)
    seen, _ = Eye().see(kind, memoryview(place.read_bytes()), str(place))
    assert (seen.fault, seen.width, seen.height, seen.channels, seen.bits) == ("", 32, 24, channels, 16)
