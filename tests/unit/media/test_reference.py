"""Reference copies: exact frame counts, the speed's own pattern, letters that can be read, light that stays.

Counts follow floor(k x from / to), the rule for stretching to sound speed (a handbook's chapter on extending
action; 16 to 24 prints every second frame twice). SSIM is FFmpeg's own filter. Letters are read by tesseract.
"""

import os
import random
import re
import shutil
import subprocess
import threading
from fractions import Fraction
from itertools import pairwise
from math import ceil
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from PIL import Image

from relay.media.burning import LINES, Burner, Layout, plane_of
from relay.media.copying import Order, copied
from relay.media.eyes import Eyes
from relay.media.findings import Kind
from relay.media.inspection import inspect_folder
from relay.media.reference import H264, Preset, Slip, Source, copy_reel, decoded
from relay.model import FrameRange
from tests.conftest import missing
from tests.references.pictures import Reel, street_reel, write_dpx  # noqa: F401  a fixture

SPEEDS = [Fraction(16), Fraction(18), Fraction(20), Fraction(200, 11), Fraction(24)]
FLOOR = 0.97
GREY = np.arange(64 * 48).reshape(48, 64) % 251


@pytest.fixture(scope="module")
def small_reel(street_reel: Reel) -> list[Path]:  # noqa: F811
    return sorted((street_reel(24, 320, 240) / "frames").iterdir())


def sources(paths: list[Path], first: int = 0) -> list[Source]:
    return [Source(first + at, path) for at, path in enumerate(paths)]


def pictures(movie: Path) -> list[av.VideoFrame]:
    with av.open(str(movie)) as container:
        return list(container.decode(video=0))


@pytest.mark.parametrize("rate", SPEEDS, ids=str)
def test_the_count_of_pictures_is_exact_and_each_is_held_as_the_pattern_says(
    small_reel: list[Path], tmp_path: Path, rate: Fraction
):
    movie = tmp_path / "copy.mov"
    count = copy_reel(sources(small_reel), Slip("A", "R01", "35mm", rate), movie)
    shown = pictures(movie)
    assert count == len(shown) == ceil(24 * Fraction(24) / rate)
    window = Layout.of(320, 240)
    lumas = [plane_of(frame, 0)[: window.window_height].astype(int) for frame in shown]
    held = [float(abs(one - other).mean()) < 0.3 for one, other in pairwise(lumas)]
    expected = [k * rate // 24 == (k + 1) * rate // 24 for k in range(count - 1)]
    assert held == expected


def test_one_to_one_shows_each_frame_once(small_reel: list[Path], tmp_path: Path):
    movie = tmp_path / "copy.mov"
    assert copy_reel(sources(small_reel), Slip("A", "R01", "35mm", Fraction(16), is_held=False), movie) == 24
    assert len(pictures(movie)) == 24


def test_timecode_and_reel_name_stand_in_the_container(small_reel: list[Path], tmp_path: Path):
    movie = tmp_path / "copy.mov"
    copy_reel(sources(small_reel, first=-48), Slip("A", "R01", "35mm", Fraction(24), first=-48), movie)
    with av.open(str(movie)) as container:
        track = next(stream for stream in container.streams if stream.type == "data")
        assert track.metadata["reel_name"] == "A_R01"
        assert track.metadata["timecode"] == "00:59:58:00"  # the start mark stands at an hour
        assert container.streams.video[0].average_rate == 24
        assert container.streams.video[0].height == LINES


def test_sound_is_laid_beside_the_picture_and_ends_with_it(small_reel: list[Path], tmp_path: Path):
    package = tmp_path / "package"
    package.mkdir()
    for path in small_reel:
        shutil.copy(path, package)
    tone = 0.4 * np.sin(np.arange(48_000 * 3) * 0.05).astype(np.float32)
    soundfile.write(package / "mix.wav", tone, 48_000)
    movie = copied(Order(element="A", reel="R01", gauge="35mm", rate="16"), package, tmp_path)
    with av.open(str(movie)) as container:
        heard = sum(frame.samples for frame in container.decode(audio=0))
    assert abs(heard / 48_000 - 1.5) < 0.05  # 24 frames at 16 a second; the codec pads to whole blocks


def grainy(street: list[Path], folder: Path) -> list[Path]:
    """Return the frames with grain as strong as an old print's: 15 of 1,023 codes. The clip itself is smooth."""
    grain, made = np.random.default_rng(1), []
    for at, path in enumerate(street):
        picture = np.asarray(decoded(path).to_ndarray(format="rgb48le"))
        noisy = picture + grain.normal(0, 15 * 64, (*picture.shape[:2], 1))
        made.append(folder / f"A_R01.{at:07d}.dpx")
        write_dpx(made[-1], np.clip(noisy, 0, 65535).astype(np.uint16), at)
    return made


def likeness(paths: list[Path], movie: Path, preset: Preset) -> list[float]:
    copy_reel(sources(paths), Slip("A", "R01", "35mm", Fraction(24)), movie, preset=preset)
    layout, found = Layout.of(2048, 1556), []
    for path, shown in zip(paths, pictures(movie), strict=True):
        source = decoded(path).reformat(layout.window_width, layout.window_height, "yuv420p", interpolation="AREA")
        other = plane_of(shown, 0)[layout.top : layout.top + layout.window_height]
        other = other[:, layout.left : layout.left + layout.window_width]
        found.append(ssim(np.ascontiguousarray(plane_of(source, 0)), np.ascontiguousarray(other)))
    return found


def test_luma_keeps_its_likeness_to_the_shrunken_source(street_reel: Reel, tmp_path: Path):  # noqa: F811
    clip = sorted((street_reel(4) / "frames").iterdir())
    assert min(likeness(clip[:2], tmp_path / "clip.mov", H264)) >= FLOOR
    paths = grainy(clip, tmp_path)
    assert min(likeness(paths, tmp_path / "copy.mov", H264)) >= FLOOR
    worse = Preset(options=(("preset", "superfast"), ("crf", "45")))
    assert max(likeness(paths, tmp_path / "worse.mov", worse)) < FLOOR  # so the measure can fail


def ssim(one: np.ndarray, other: np.ndarray) -> float:
    """Return what FFmpeg's `ssim` filter says of two grey pictures."""
    graph = av.filter.Graph()
    height, width = one.shape
    ends = [graph.add_buffer(width=width, height=height, format="gray", time_base=Fraction(1, 24)) for _ in range(2)]
    compare, sink = graph.add("ssim"), graph.add("buffersink")
    ends[0].link_to(compare, 0, 0)
    ends[1].link_to(compare, 0, 1)
    compare.link_to(sink)
    graph.configure()
    for end, picture in zip(ends, (one, other), strict=True):
        frame = av.VideoFrame.from_ndarray(picture, "gray")
        frame.pts, frame.time_base = 0, Fraction(1, 24)
        end.push(frame)
        end.push(None)
    return float(sink.pull().metadata["lavfi.ssim.All"])


def test_the_measure_of_likeness_tells_a_blurred_picture():
    grain = np.random.default_rng(3).integers(0, 256, (64, 64), dtype=np.uint8)
    assert ssim(grain, grain) == pytest.approx(1)
    assert ssim(grain, np.roll(grain, 1, 1)) < 0.5


def test_letters_stand_outside_the_picture():
    for width, height in [(2048, 1556), (4096, 3112), (1920, 1080), (2048, 858), (1556, 2048)]:
        layout = Layout.of(width, height)
        assert layout.top + layout.window_height <= layout.text_top
        assert layout.text_top + 64 == layout.height == LINES
        assert abs(layout.window_width / layout.window_height - width / height) < 0.01


def test_a_long_name_is_written_smaller_and_leaves_the_number_alone():
    for element, reel, width in [("A", "R01", 2048), ("TINTED-PRINT", "REEL-01-PART-A", 1556), ("A" * 9, "R" * 9, 900)]:
        layout = Layout.of(width, 1556)
        picture = Burner(layout, element, reel, "35mm").burnt(None, 16319)
        band = plane_of(picture, 0)[layout.text_top :]
        lit = np.flatnonzero((band > 100).any(axis=0))
        widest = int(np.diff(lit).max())  # between the name and the number
        assert widest > 40, (element, reel)
        at = int(lit[np.diff(lit).argmax() + 1])
        alone = plane_of(Burner(layout, "", "", "35mm").burnt(None, 16319), 0)[layout.text_top :]
        assert np.array_equal(band[:, at:], alone[:, at:])


@pytest.mark.parametrize("seed", range(3))
def test_burnt_in_numbers_are_read_back_from_random_frames(street_reel: Reel, tmp_path: Path, seed: int):  # noqa: F811
    if shutil.which("tesseract") is None:
        missing("tesseract is not installed (apt install tesseract-ocr)")
    dice = random.Random(seed)
    path = min((street_reel(1) / "frames").iterdir())
    numbers = sorted(dice.sample(range(16_320), 4))
    movie = tmp_path / "copy.mov"
    copy_reel([Source(number, path) for number in numbers], Slip("A", "R01", "35mm", Fraction(24)), movie)
    for number, shown in zip(numbers, pictures(movie), strict=True):
        assert read(shown, tmp_path) == ("A R01", number, f"{number // 16}+{number % 16:02d}")


def read(shown: av.VideoFrame, scratch: Path) -> tuple[str, int, str]:
    """Return what tesseract reads in the band under the picture: name, frame number, footage (35 mm: 16 to a foot)."""
    band = plane_of(shown, 0)[LINES - 64 :]
    halves = []
    for name, part in (("left", band[:, : band.shape[1] // 3]), ("right", band[:, band.shape[1] // 2 :])):
        page = Image.fromarray(255 - part).resize((part.shape[1] * 2, part.shape[0] * 2))
        page.save(scratch / f"{name}.png")
        command = ["tesseract", str(scratch / f"{name}.png"), "-", "--psm", "7"]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        halves.append(" ".join(done.stdout.split()))
    found = re.fullmatch(r"(\d+) +(\d+\+\d+)", halves[1])
    assert found, halves
    return halves[0].replace("O", "0"), int(found[1]), found[2]  # the letter and the figure differ by a hair


def test_a_gap_is_black_and_keeps_its_number(small_reel: list[Path], tmp_path: Path):
    movie = tmp_path / "copy.mov"
    copy_reel(
        [Source(0, small_reel[0]), Source(1, None), Source(2, small_reel[2])],
        Slip("A", "R01", "35mm", Fraction(24)),
        movie,
    )
    window = Layout.of(320, 240)
    lumas = [plane_of(frame, 0)[: window.window_height].mean() for frame in pictures(movie)]
    assert lumas[1] < 20 < min(lumas[0], lumas[2])


def test_a_frame_that_cannot_be_decoded_is_named(small_reel: list[Path], tmp_path: Path):
    bad = tmp_path / "A_R01.0000001.dpx"
    bad.write_bytes(small_reel[0].read_bytes()[:4000])
    with pytest.raises(ValueError, match=r"A_R01\.0000001\.dpx cannot be copied"):
        copy_reel([Source(0, bad)], Slip("A", "R01", "35mm", Fraction(24)), tmp_path / "copy.mov")


def given_once(pipe: Path, body: bytes) -> None:
    """Give `body` to the first who reads `pipe`; whoever comes after finds no file."""
    with pipe.open("wb") as file:  # waits for a reader
        pipe.unlink()
        file.write(body)


@pytest.mark.parametrize("kind", ["dpx", "tif"])
def test_each_frame_is_read_once_the_first_too(small_reel: list[Path], tmp_path: Path, kind: str):
    pipes = []
    for at, source in enumerate(small_reel[:3]):
        whole = tmp_path / f"whole.{kind}"
        Image.fromarray(GREY.astype(np.uint8)).save(whole) if kind == "tif" else shutil.copy(source, whole)
        pipes.append(tmp_path / f"A_R01.{at:07d}.{kind}")
        os.mkfifo(pipes[-1])
        threading.Thread(target=given_once, args=[pipes[-1], whole.read_bytes()], daemon=True).start()
    assert copy_reel(sources(pipes), Slip("A", "R01", "35mm", Fraction(24)), tmp_path / "copy.mov") == 3


def test_a_gap_that_a_copy_tells_of_is_no_finding_about_it_and_other_black_is(small_reel: list[Path], tmp_path: Path):
    slip, movie = Slip("A", "R01", "35mm", Fraction(20), first=7), tmp_path / "copy.mov"
    told = [Source(at, None if at in {9, 10} else small_reel[at]) for at in range(7, 14)]
    with Eyes(1) as eyes:
        copy_reel(told, slip, movie)
        assert inspect_folder(tmp_path, [movie.name], eyes).report().findings == ()
        black = tmp_path / "A_R01.0000009.dpx"
        write_dpx(black, np.zeros((240, 320, 3), np.uint16), 9)
        copy_reel([Source(at, black if at == 9 else small_reel[at]) for at in range(7, 14)], slip, movie)
        (found,) = inspect_folder(tmp_path, [movie.name], eyes).report().findings
    assert (found.kind, found.frames) == (
        Kind.BLACK,
        (FrameRange(first=3, last=3),),
    )  # ceil(2 x 24 / 20)
