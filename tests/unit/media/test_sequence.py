"""Frame files by their numbers; the shapes of names are common practice."""

import pytest

from relay.errors import RefusedError
from relay.media.manifest import Manifest, PackedFile
from relay.media.sequence import picture_of, sequences_of
from relay.model import FrameRange, digest_of


def package(*paths: str) -> Manifest:
    return Manifest.of(PackedFile(path, 3, digest_of(path.encode())) for path in paths)


def numbers(*paths: str) -> dict[str, list[int]]:
    return {sequence.name: sequence.numbers() for sequence in sequences_of(package(*paths))}


@pytest.mark.parametrize("kind", ["dpx", "DPX", "tif", "tiff", "exr", "png"])
def test_numbers_are_read_after_a_dot_an_underscore_or_alone(kind):
    assert numbers(f"f/A_R01.0086400.{kind}", f"f/A_R01.0086401.{kind}") == {f"f/A_R01.#.{kind}": [86400, 86401]}
    assert numbers(f"A_R01_0001.{kind}") == {f"A_R01_#.{kind}": [1]}
    assert numbers(f"f/0001.{kind}", f"f/2.{kind}") == {f"f/#.{kind}": [1, 2]}


@pytest.mark.parametrize(
    "path", ["a.wav", "a.0001.mov", "0001", "A1.dpx", "a.0001.dpx.md5", "a.12345678901.dpx", "a-1.dpx"]
)
def test_other_files_are_no_frames(path):
    assert sequences_of(package(path)) == ()
    assert picture_of(package(path)) is None


def test_frames_come_in_the_order_of_their_numbers_not_of_their_names():
    assert numbers("a.10.dpx", "a.9.dpx", "a.100.dpx") == {"a.#.dpx": [9, 10, 100]}


def test_missing_numbers_are_given_as_ranges():
    picture = picture_of(package(*(f"a.{n:04d}.dpx" for n in (3, 4, 7, 9, 10, 20))))
    expected = (FrameRange(first=5, last=6), FrameRange(first=8, last=8), FrameRange(first=11, last=19))
    assert picture is not None
    assert picture.missing() == expected


def test_a_gap_as_wide_as_a_stranger_likes_costs_nothing():
    picture = picture_of(package("a.0.dpx", "a.9999999999.dpx"))
    assert picture is not None
    assert picture.missing() == (FrameRange(first=1, last=9999999998),)


def test_scanned_pages_beside_the_frames_are_not_the_picture():
    frames = [f"frames/A_R01.{n:07d}.dpx" for n in range(3)]
    pages = ["report/page_1.png", "report/page_2.png", "label_1.tif", "label_2.tif"]
    picture = picture_of(package(*frames, *pages, "still.0001.dpx"))
    assert picture is not None
    assert picture.name == "frames/A_R01.#.dpx"
    assert picture_of(package("still_1.tif", "a.1.png", "a.2.png")).kind == "png"


def test_two_runs_of_frames_are_refused_with_both_named():
    with pytest.raises(RefusedError, match=r"'a/x\.#\.dpx', 'b/x\.#\.exr'"):
        picture_of(package("a/x.1.dpx", "a/x.2.dpx", "b/x.1.exr", "b/x.2.exr"))


def test_a_number_that_stands_twice_is_refused_with_both_files_named():
    with pytest.raises(RefusedError, match=r"'a\.001\.dpx' and 'a\.01\.dpx' are both number 1"):
        picture_of(package("a.001.dpx", "a.01.dpx", "a.2.dpx"))
