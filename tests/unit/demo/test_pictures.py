"""What the demo's programs do to frames, read back with a reader that is not ours."""

import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import OpenImageIO
import pytest

from deploy.demo.film import write_scan
from deploy.demo.people import FRAMES, REEL, chosen
from deploy.demo.pictures import DIRT, graded, mended, read_dpx, write_like
from deploy.demo.reels import frames_lost

PROGRAMS = Path(__file__).parents[3] / "deploy" / "demo" / "programs"
SIZE = (64, 48)


@pytest.fixture
def scan(tmp_path: Path) -> list[Path]:
    write_scan(tmp_path / "scan", "A", REEL, 24, size=SIZE)
    return sorted((tmp_path / "scan").iterdir())


def codes_of(path: Path) -> np.ndarray:
    """Read a frame with OpenImageIO: 10 bits in the upper part of 16."""
    picture = OpenImageIO.ImageBuf(str(path))
    assert picture.has_error is False
    return np.moveaxis(picture.get_pixels(OpenImageIO.UINT16) >> 6, 2, 0)


def test_a_frame_is_read_as_openimageio_reads_it(scan):
    assert np.array_equal(read_dpx(scan[0])[1], codes_of(scan[0]))


def test_a_frame_written_with_another_size_is_read_by_openimageio(scan, tmp_path):
    header, planes = read_dpx(scan[0])
    small = np.ascontiguousarray(planes[:, ::2, ::2])
    write_like(tmp_path / "small.dpx", header, small)
    assert small.shape == (3, SIZE[1] // 2, SIZE[0] // 2)
    assert np.array_equal(codes_of(tmp_path / "small.dpx"), small)


def test_dirt_on_one_frame_is_mended_and_what_moves_or_stays_is_left():
    before, picture, after = (np.full((3, 2, 2), 400, np.uint16) for _ in range(3))
    picture[:, 0, 0] = 400 - DIRT - 1  # dirt: on this frame alone
    picture[:, 0, 1] = 400 + DIRT  # within what grain and flicker do
    after[:, 1, 0] = picture[:, 1, 0] = 900  # an edge that came in and stays
    cleaned = mended(before, picture, after)
    assert cleaned[:, 0, 0].tolist() == [400] * 3
    assert np.array_equal(np.delete(cleaned.reshape(3, 4), 0, 1), np.delete(picture.reshape(3, 4), 0, 1))


def test_a_grade_stays_within_ten_bits():
    for name in "ABC":
        assert graded(np.full((3, 1, 1), 1023, np.uint16), name).max() <= 1023
        assert graded(np.zeros((3, 1, 1), np.uint16), name).max() < 100


def test_the_edit_takes_every_frame_once_and_from_a_print_that_has_it():
    cut = chosen()
    assert [frame for frame, _ in cut] == list(range(FRAMES))
    assert not [frame for frame, name in cut if frame in frames_lost(name, REEL, FRAMES)]


def test_the_program_of_the_route_makes_a_frame_for_each_frame(scan, tmp_path):
    (tmp_path / "out").mkdir()
    program = PROGRAMS / "mend-frames"
    assert program.stat().st_mode & stat.S_IXUSR
    subprocess.run([sys.executable, program, scan[0].parent, tmp_path / "out"], check=True)
    made = sorted((tmp_path / "out").iterdir())
    assert [path.name for path in made] == [path.name for path in scan]
    assert codes_of(made[5]).size == codes_of(scan[5]).size
