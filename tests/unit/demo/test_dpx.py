import struct
from datetime import UTC, datetime

import av
import numpy as np
import OpenImageIO
import pytest

from deploy.demo.dpx import FilmFrame, write_dpx

FRAME = FilmFrame(
    position=123,
    length=960,
    frames_per_second=20,
    frame_id="A R01 000123",
    slate="slate words",
    film_format="35 mm 4-perf",
    project="a project",
    device="a scanner",
    scanned=datetime(2027, 1, 12, 9, 2, 3, tzinfo=UTC),
)
# Offsets and codes: the field table of SMPTE ST 268 in docs that list it, byte-checked there with two other writers.
# Those marked "memory" were not read. Each row: offset, form, what must lie there in a picture of 12 columns by 5 rows.
FIELDS = [
    (0, "4s", b"SDPX"),
    (4, "I", 2048),  # data offset
    (8, "8s", b"V2.0"),
    (16, "I", 2048 + 12 * 5 * 4),  # file size
    (20, "I", 1),  # ditto key: the picture is new (memory)
    (24, "I", 1664),  # generic sections: file 768, image 640, orientation 256
    (28, "I", 384),  # industry sections: film 256, television 128
    (32, "I", 0),  # no user section (memory)
    (36, "100s", b"shot.0086523.dpx"),
    (136, "24s", b"2027:01:12:09:02:03+0000"),
    (160, "100s", b"a scanner"),  # creator (memory)
    (260, "200s", b"a project"),  # project (memory)
    (660, "I", 0xFFFFFFFF),  # not encrypted (memory)
    (768, "H", 0),  # left to right, top to bottom
    (770, "H", 1),  # one element
    (772, "I", 12),
    (776, "I", 5),
    (780, "I", 0),  # unsigned (memory)
    (784, "I", 0),  # low code (memory)
    (792, "I", 1023),  # high code (memory)
    (796, "f", struct.unpack("f", struct.pack("f", 2.046))[0]),  # its density, 0.002 a code (memory)
    (800, "B", 50),  # RGB
    (801, "B", 1),  # printing density
    (802, "B", 1),  # printing density (memory)
    (803, "B", 10),
    (804, "H", 1),  # filled, method A
    (806, "H", 0),  # no run lengths
    (808, "I", 2048),  # the element's data offset (memory)
    (852, "I", 0xFFFFFFFF),  # the second element is undefined (memory)
    (1432, "100s", b"shot.0086523.dpx"),  # source image (memory)
    (1556, "32s", b"a scanner"),  # input device (memory)
    (1664, "2s", b""),  # no edge code on silent film: manufacturer, type, offset, prefix, count
    (1666, "2s", b""),
    (1668, "2s", b""),
    (1670, "6s", b""),
    (1676, "4s", b""),
    (1680, "32s", b"35 mm 4-perf"),
    (1712, "I", 123),
    (1716, "I", 960),
    (1720, "I", 1),
    (1724, "f", 20.0),
    (1732, "32s", b"A R01 000123"),
    (1764, "100s", b"slate words"),
    (1920, "I", 0xFFFFFFFF),  # no time code
]


@pytest.fixture
def planes():
    return np.random.default_rng(5).integers(0, 1024, (3, 36, 48), dtype=np.uint16)


@pytest.fixture
def header(tmp_path):
    path = tmp_path / "shot.0086523.dpx"
    write_dpx(path, np.zeros((3, 5, 12), np.uint16), FRAME)
    return path.read_bytes()


@pytest.mark.parametrize(("offset", "form", "expected"), FIELDS)
def test_each_field_lies_where_the_standard_puts_it(header, offset, form, expected):
    (found,) = struct.unpack_from(f">{form}", header, offset)
    assert (found.rstrip(b"\0") if isinstance(found, bytes) else found) == expected


def test_three_codes_are_packed_as_filled_method_a(tmp_path):
    path = tmp_path / "one.dpx"
    write_dpx(path, np.array([1, 2, 3], np.uint16).reshape(3, 1, 1), FRAME)
    # R, G, B of 1, 2, 3 packed by two independent writers of ST 268.
    assert path.read_bytes()[2048:] == bytes.fromhex("0040200C")


def test_a_full_aperture_2k_frame_has_the_published_size(tmp_path):
    path = tmp_path / "large.dpx"
    write_dpx(path, np.zeros((3, 1556, 2048), np.uint16), FRAME)
    # 2048x1556 RGB at 10 bits filled is 12,746,752 bytes of pixels, 12,748,800 with data at 2048.
    assert path.stat().st_size == 12_748_800


def test_openimageio_reads_the_same_pixels_and_fields(tmp_path, planes):
    path = tmp_path / "shot.0000001.dpx"
    write_dpx(path, planes, FRAME)
    picture = OpenImageIO.ImageInput.open(str(path))
    spec = picture.spec()
    assert np.array_equal(np.moveaxis(picture.read_image("uint16") >> 6, 2, 0), planes)
    assert spec.getattribute("oiio:BitsPerSample") == 10
    assert spec.getattribute("dpx:Transfer") == "Printing density"
    assert spec.getattribute("dpx:Packing") == "Filled, method A"
    assert spec.getattribute("dpx:FramePosition") == 123
    assert spec.getattribute("dpx:SequenceLength") == 960
    assert spec.getattribute("dpx:FrameRate") == 20.0
    assert spec.getattribute("dpx:FrameId") == "A R01 000123"
    assert spec.getattribute("dpx:SlateInfo") == "slate words"


def test_pyav_reads_the_same_pixels(tmp_path, planes):
    path = tmp_path / "shot.0000001.dpx"
    write_dpx(path, planes, FRAME)
    with av.open(str(path)) as film:
        (frame,) = film.decode(video=0)
    assert frame.format.name == "gbrp10le"
    assert np.array_equal(np.moveaxis(frame.to_ndarray(), 2, 0), planes)


def test_planes_that_lie_any_way_in_memory_are_written_alike(tmp_path, planes):
    ordinary, turned = tmp_path / "a" / "x.dpx", tmp_path / "b" / "x.dpx"
    for path, pixels in ((ordinary, planes), (turned, np.asfortranarray(planes))):
        path.parent.mkdir()
        write_dpx(path, pixels, FRAME)
    assert ordinary.read_bytes() == turned.read_bytes()


@pytest.mark.parametrize(
    ("planes", "said"),
    [
        (np.full((3, 2, 2), 1024, np.uint16), "10 bits hold 0 to 1023"),
        (np.zeros((2, 2, 3), np.uint16), "expected \\(3, rows, columns\\)"),
    ],
)
def test_a_picture_that_ten_bit_rgb_cannot_hold_is_refused(tmp_path, planes, said):
    with pytest.raises(ValueError, match=said):
        write_dpx(tmp_path / "x.dpx", planes, FRAME)
    assert not (tmp_path / "x.dpx").exists()


def test_words_too_long_for_their_field_are_refused(tmp_path, planes):
    with pytest.raises(ValueError, match="its header field holds 99"):
        write_dpx(tmp_path / ("n" * 100), planes, FRAME)
    assert not list(tmp_path.iterdir())
