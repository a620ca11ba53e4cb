"""Grey thumbnails: what is stored of them, read by NumPy's own reader; and what is refused as none."""

from io import BytesIO

import numpy as np
import pytest

from relay.media import thumbnails
from relay.media.thumbnails import COLUMNS, ROWS, Thumbnails, parse_thumbnails
from relay.model import ScanMap, ScanSegment


def some(numbers: list[int]) -> Thumbnails:
    kept = Thumbnails(numbers[0], 18)
    for number in numbers:
        kept.add(number, 128, 96, bytes([number % 256]) * (128 * 96 * 3))
    return kept


def test_a_frame_without_a_picture_leaves_no_record_and_the_others_keep_their_numbers():
    found = parse_thumbnails(bytes(some([86400, 86401, 86407]).stored()))
    assert found.numbers.tolist() == [86400, 86401, 86407]
    assert found.grey[:, 0, 0].tolist() == [86400 % 256, 86401 % 256, 86407 % 256]


def test_numpy_reads_what_is_stored():
    records = np.load(BytesIO(some([5, 9]).stored()), allow_pickle=False)
    assert records["number"].tolist() == [5, 9]
    assert records["grey"].shape == (2, ROWS, COLUMNS)


@pytest.mark.parametrize("shape", [(96, 128), (97, 128), (53, 128), (30, 40), (1, 1)])
def test_each_byte_is_the_mean_luma_of_the_pixels_it_stands_for(shape: tuple[int, int]):
    picture = np.random.default_rng(3).integers(0, 256, (*shape, 3), dtype=np.uint8)
    kept = Thumbnails(0, 1)
    kept.add(0, shape[1], shape[0], picture.tobytes())
    luma = picture @ np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709, item 3.2
    for row, column in ((0, 0), (20, 13), (ROWS - 1, COLUMNS - 1)):
        top, left = row * shape[0] // ROWS, column * shape[1] // COLUMNS
        below, right = (row + 1) * shape[0] // ROWS, (column + 1) * shape[1] // COLUMNS
        mean = luma[top : max(below, top + 1), left : max(right, left + 1)].mean()
        assert abs(float(kept.grey[0][row, column]) - mean) < 2


def test_a_reel_of_very_many_frames_is_stored_at_half_the_size(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(thumbnails, "MANY", 2)
    found = parse_thumbnails(bytes(some([0, 1, 2]).stored()))
    assert found.grey.shape == (3, ROWS // 2, COLUMNS // 2)
    assert found.grey[2].tolist() == [[2] * (COLUMNS // 2)] * (ROWS // 2)


def test_thumbnails_by_the_reels_numbers_leave_out_what_the_map_does_not_place():
    found = parse_thumbnails(bytes(some([10, 11, 12, 13, 14]).stored()))
    placed = found.on_reel(ScanMap(segments=(ScanSegment(scan=10, reel=0, count=2), ScanSegment(scan=13, reel=7))))
    assert placed.numbers.tolist() == [0, 1, 7, 8]
    assert placed.grey[:, 0, 0].tolist() == [10, 11, 13, 14]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\x93NUMPY\x01\x00",
        bytes(some([1]).stored())[:-1],
        bytes(some([1]).stored()) + b"\0",
        bytes(some([1]).stored()).replace(b"(1,)", b"(9,)"),
        bytes(some([1]).stored()).replace(b"<i4", b"<f4"),
    ],
)
def test_anything_else_is_refused_and_nothing_is_taken_in_for_what_a_header_claims(body: bytes):
    with pytest.raises(ValueError, match=r"NumPy|EOF|expected|claims"):
        parse_thumbnails(body)


def test_an_array_of_python_objects_is_not_read():
    file = BytesIO()
    np.save(file, np.array([None], dtype=object), allow_pickle=True)
    with pytest.raises(ValueError, match="expected a row of numbered grey thumbnails"):
        parse_thumbnails(file.getvalue())
