"""An inspection as a whole: what is film and what is not, each byte read once, and pictures made in the same pass."""

import shutil
import sys
from collections.abc import Iterator
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import pytest
from PIL import Image

from relay.errors import RefusedError
from relay.media.asked import Asked
from relay.media.eyes import Eyes
from relay.media.findings import Kind, Report, parse_report
from relay.media.gaps import map_with_gaps
from relay.media.inspection import Inspection, inspect_folder
from relay.media.sheet import MARKS, Grade, contact_sheet, strip
from relay.model import FrameRange, digest_of
from tests.references.damage import FIRST, titled, written

GRAIN = np.random.default_rng(2)


@pytest.fixture
def eyes() -> Iterator[Eyes]:
    with Eyes(2) as eyes:
        yield eyes


def reel(folder: Path, count: int = 30, size: tuple[int, int] = (60, 80)) -> Path:
    (folder / "frames").mkdir(parents=True)
    for at in range(count):
        picture = GRAIN.integers(8000, 56000, (*size, 3), dtype=np.uint16)
        body = titled(written(folder / "a.dpx", picture), at, count, 18.0, None, b"")
        (folder / "frames" / f"A_R01.{FIRST + at:07d}.dpx").write_bytes(body)
    (folder / "a.dpx").unlink()
    return folder


def paths(folder: Path) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]


def rchar(pid: int | str = "self") -> int:
    lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("rchar"))


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's own count of bytes read is Linux's")
def test_each_byte_is_read_once_by_whoever_it_is(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 20, (600, 800))
    inspect_folder(folder, paths(folder)[:4], eyes)  # both processes have loaded what they need
    children = [child._process.pid for child in eyes._children if child._process]
    before = [rchar(), *map(rchar, children)]
    seen = inspect_folder(folder, paths(folder), eyes)
    after = [rchar(), *map(rchar, children)]
    size = sum((folder / path).stat().st_size for path in paths(folder))
    assert len(seen.digests) == 20
    assert size <= sum(after) - sum(before) < size * 1.02  # and some questions and answers


def test_the_hash_of_each_frame_is_that_of_its_file(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 6)
    seen = inspect_folder(folder, paths(folder), eyes)
    assert seen.digests == {path: digest_of((folder / path).read_bytes()) for path in paths(folder)}


def test_what_was_at_hand_is_not_read_again(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 6)
    seen = Inspection(paths(folder), eyes)
    for path in paths(folder):
        seen.look(path, memoryview((folder / path).read_bytes()))
    shutil.rmtree(folder)
    seen.look_at_rest(folder)
    assert seen.report().looked_at == 6
    assert seen.report().findings == ()


def test_stills_and_papers_are_kept_apart_from_the_film(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 6)
    (folder / "papers").mkdir()
    (folder / "papers" / "report.pdf").write_bytes(b"%PDF-1.7 ...")
    still = oiio.ImageBuf(oiio.ImageSpec(20, 10, 3, oiio.UINT8))
    assert still.write(str(folder / "papers" / "can_label.tif"))
    (folder / "papers" / "torn.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    report = inspect_folder(folder, paths(folder), eyes).report()
    assert report.documents == ("papers/can_label.tif", "papers/torn.png", "papers/report.pdf")
    assert [(each.kind, each.where) for each in report.findings] == [(Kind.UNREADABLE, "papers/torn.png")]
    assert report.runs[0].count == 6


def test_a_movie_is_watched_to_its_end(eyes: Eyes, tmp_path: Path):
    movie = tmp_path / "copy.mp4"
    with av.open(str(movie), "w") as container:
        stream = container.add_stream("libx264", rate=24)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for at in range(60):
            level = 16 if 20 <= at < 30 else 120
            picture = np.full((72, 64), level, np.uint8)
            if level > 16:
                picture[:48] = GRAIN.integers(30, 220, (48, 64))
            frame = av.VideoFrame.from_ndarray(picture, "yuv420p")
            frame.planes[1].update(bytes([128]) * frame.planes[1].buffer_size)
            frame.planes[2].update(bytes([128]) * frame.planes[2].buffer_size)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    report = inspect_folder(tmp_path, ["copy.mp4"], eyes).report()
    assert (report.movies[0].frames, report.movies[0].width) == (60, 64)
    assert [(each.kind, each.frames) for each in report.findings] == [(Kind.BLACK, (FrameRange(first=20, last=29),))]
    movie.write_bytes(movie.read_bytes()[:200])
    (finding,) = inspect_folder(tmp_path, ["copy.mp4"], eyes).report().findings
    assert finding.kind is Kind.UNREADABLE


def test_a_report_is_read_back_as_it_was_stored(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 6)
    (folder / "frames" / f"A_R01.{FIRST + 2:07d}.dpx").write_bytes(b"SDPX")
    report = inspect_folder(folder, paths(folder), eyes).report()
    assert report.blocking() == 1
    assert parse_report(report.encode()) == report
    with pytest.raises(ValueError, match="relay_inspection"):
        parse_report(report.encode().replace(b'"relay_inspection": 1', b'"relay_inspection": 2'))


def drawn(folder: Path, eyes: Eyes) -> tuple[Report, Image.Image, Image.Image]:
    seen = inspect_folder(folder, paths(folder), eyes, Asked(rate=Fraction(18)))
    report = seen.report()
    run, thumbnails = report.runs[0], seen.thumbnails[report.runs[0].name]
    return (
        report,
        Image.open(BytesIO(contact_sheet("A/R01/v1", run, thumbnails))),
        Image.open(BytesIO(strip(run, thumbnails, report.findings))),
    )


def test_the_strip_has_a_thumbnail_a_second_and_marks_what_was_found(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 54)
    (folder / "frames" / f"A_R01.{FIRST + 20:07d}.dpx").write_bytes(b"SDPX")
    report, sheet, page = drawn(folder, eyes)
    assert report.blocking() == 1
    assert page.size == (30 * 64, 48 + 10 + 14)  # a row of 30 seconds, 4:3
    colours = page.convert("RGB")
    marked = [x for x in range(page.size[0]) if colours.getpixel((x, 48)) == MARKS[Grade.BLOCKS]]
    assert marked
    assert marked[0] == round(20 * 64 / 18)  # where the frame lies in its second
    shown = [any(colours.getpixel((64 * n + 30, y)) != (24, 24, 26) for y in range(48)) for n in range(5)]
    assert shown == [True, True, True, False, False]  # 54 frames at 18 a second
    assert sheet.size[0] == 6 * 164 + 4


def test_a_second_that_lost_its_first_frames_or_all_keeps_its_place_on_the_strip(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 90)
    for at in (18, 19, *range(36, 54), 72):  # the second's first two, the whole third, and one of the fifth
        (folder / "frames" / f"A_R01.{FIRST + at:07d}.dpx").unlink()
    _, _, page = drawn(folder, eyes)
    colours = page.convert("RGB")
    shown = [any(colours.getpixel((64 * n + 30, y)) != (24, 24, 26) for y in range(48)) for n in range(6)]
    assert shown == [True, True, False, True, True, False]
    marked = [x for x in range(page.size[0]) if colours.getpixel((x, 48)) == MARKS[Grade.BLOCKS]]
    for at in (18, 36, 53, 72):
        assert round((at + 0.5) * 64 / 18) in marked


def test_a_number_far_away_makes_no_strip_of_empty_rows(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 4)
    (folder / "frames" / f"A_R01.{FIRST + 3:07d}.dpx").rename(folder / "frames" / "A_R01.999999999.dpx")
    _, _, page = drawn(folder, eyes)
    assert page.size[1] == 2 * (48 + 10 + 14)


def test_cuts_of_the_photographic_clip_are_found_where_its_reference_has_them(
    eyes: Eyes, tmp_path: Path, pytestconfig: pytest.Config
):
    from tests.references.pictures import clip, write_reel

    cache = pytestconfig.cache
    folder = write_reel(clip(cache.mkdir("pictures") if cache else tmp_path), tmp_path / "reel", 250, 160, 68)
    seen = inspect_folder(folder, paths(folder), eyes)
    (thumbnails,) = seen.thumbnails.values()
    # the first frame of each new shot, as another detector found them in the same clip
    assert [cut - FIRST for cut in thumbnails.cuts()] == [30, 76, 137, 187, 242]
    kept = np.load(BytesIO(thumbnails.stored()), allow_pickle=False)
    assert kept["number"].tolist() == list(range(FIRST, FIRST + 250))


def test_no_map_is_made_where_the_edge_code_has_no_gap(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 4)
    report = inspect_folder(folder, paths(folder), eyes).report()
    assert map_with_gaps(report.runs[0], report.findings) is None


def test_looking_ends_when_it_is_told_to(eyes: Eyes, tmp_path: Path):
    folder = reel(tmp_path / "r", 60, (300, 400))
    done = []

    def told(path: str, _size: int) -> None:
        done.append(path)
        if len(done) == 1:
            raise RefusedError("stop")

    inspect_folder(folder, paths(folder)[:4], eyes)  # both processes have loaded what they need
    seen = Inspection(paths(folder), eyes)
    with pytest.raises(RefusedError, match="stop"):
        seen.look_at_rest(folder, told=told)
    assert len(seen.digests) < 60


def test_nothing_is_imported_from_the_folder_that_one_stands_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = reel(tmp_path / "r", 2)
    for name in ("numpy.py", "av.py", "relay.py", "json.py"):
        (folder / name).write_text("open('ran', 'w').close()")
    monkeypatch.chdir(folder)
    with Eyes(1) as eyes:
        report = inspect_folder(folder, paths(folder), eyes).report()
    assert (report.looked_at, report.blocking()) == (2, 0)
    assert not (folder / "ran").exists()
