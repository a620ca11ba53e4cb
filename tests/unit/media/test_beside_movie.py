"""Comparison copies opened again: where each print's picture lies, what is written under it, and what slates say.

Frames are written with OpenImageIO, the movie is read with PyAV. Footage of 35 mm: 16 frames to the foot, of 16 mm: 40
("Filmfuss", citing ISO 491 and ISO 69).
"""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from relay.media.beside import Beside, Pane, Seen, put_beside
from relay.media.lettering import lettered, shortened
from relay.media.showing import Strip
from tests.references.pictures import write_dpx

SIZES = {"A": (128, 96), "B": (192, 108), "C": (64, 27), "D": (90, 120)}
"""As film is, wider, much wider, and upright."""
NAMES = {"A": "A/R01/v1", "B": f"{'N' * 24}/{'R' * 24}/v123", "C": "C/R01/v2", "D": "D/R01/v1"}
FRAMES = range(28, 34)


def drawn(code: str, number: int) -> np.ndarray:
    """Draw a tinted ramp that goes the other way in every second frame, so that a frame is told from its neighbours."""
    wide, high = SIZES[code]
    across = np.tile(np.linspace(0.2, 0.8, wide), (high, 1))
    ramp = across if number % 2 else across[:, ::-1]
    return (65535 * np.stack([ramp, 0.8 * ramp, 0.5 * ramp], axis=2)).astype(np.uint16)


@pytest.fixture(scope="module")
def panes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Pane]:
    folder = tmp_path_factory.mktemp("frames")
    found = {}
    for code, name in NAMES.items():
        files = {number: str(folder / f"{code}_{number}.dpx") for number in FRAMES}
        for number, path in files.items():
            write_dpx(Path(path), drawn(code, number), number)
        gauge, strip = "16mm" if code == "D" else "35mm", Strip(reel=f"{code}/R01", files=files)
        found[code] = Pane(name=name, gauge=gauge, strips=(strip,), names=(name,), title="The tinted print")
    return found


def steps(codes: str) -> tuple[tuple[Seen, ...], ...]:
    """Show six frames of each; the second print lacks two of them, and of the third nobody is sure."""
    return tuple(
        tuple(
            Seen(-1, number - 29, 2, True, 29) if lane == 1 and number in {30, 31} else Seen(0, number, 0, lane != 2)
            for lane in range(len(codes))
        )
        for number in FRAMES
    )


def order(panes: dict[str, Pane], codes: str, rate: str = "18", lines: int = 480) -> Beside:
    return Beside(rate=rate, lines=lines, panes=tuple(panes[each] for each in codes), steps=steps(codes), title="look")


def still(panes: dict[str, Pane], codes: str, step: int, folder: Path, lines: int = 480) -> np.ndarray:
    whole = order(panes, codes, lines=lines)
    put_beside(whole.model_copy(update={"steps": whole.steps[step : step + 1]}), folder / "still.png")
    with Image.open(folder / "still.png") as picture:
        return np.asarray(picture.convert("RGB"))


def parts(page: np.ndarray, codes: str, lines: int = 480) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return of each pane its picture's window and the band of letters under it."""
    rows, band = (1 if len(codes) == 2 else 2), max(18, lines // 24 // 2 * 2)
    high, wide = page.shape[0] // rows, page.shape[1] // 2
    found = []
    for lane in range(len(codes)):
        pane = page[lane // 2 * high :, lane % 2 * wide :][:high, :wide]
        found.append((pane[: high - band - 2], pane[high - band - 2 : high]))
    return found


def holds(page: np.ndarray, letters: np.ndarray, *, in_the_middle: bool = False) -> bool:
    """Answer whether letters stand somewhere in a picture, or in the middle of some rows, exactly."""
    rows, columns = page.shape[0] - letters.shape[0], page.shape[1] - letters.shape[1]
    columns_asked = range(columns // 2 - 3, columns // 2 + 4) if in_the_middle else range(columns + 1)
    return any(
        np.array_equal(page[row : row + letters.shape[0], column : column + letters.shape[1], 0], letters)
        for row in range(rows + 1)
        for column in columns_asked
    )


def test_four_prints_of_four_shapes_are_each_whole_unbent_and_coloured_as_they_are(panes, tmp_path: Path):
    for code, (window, _) in zip("ABCD", parts(still(panes, "ABCD", 0, tmp_path), "ABCD"), strict=True):
        lit = window.max(axis=2) > 45
        high, wide = np.ptp(np.flatnonzero(lit.any(axis=1))) + 1, np.ptp(np.flatnonzero(lit.any(axis=0))) + 1
        assert wide / high == pytest.approx(SIZES[code][0] / SIZES[code][1], rel=0.03)
        assert max(high / window.shape[0], wide / window.shape[1]) > 0.95
        tint = window[lit].astype(float)
        assert (tint[:, 1] / tint[:, 0]).mean() == pytest.approx(0.8, abs=0.03)
        assert (tint[:, 2] / tint[:, 0]).mean() == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize(("codes", "lines"), [("AB", 480), ("ABCD", 480), ("ABCD", 360)])
def test_numbers_stand_under_each_picture_whole_however_long_its_name_is(panes, codes: str, lines: int, tmp_path: Path):
    page = still(panes, codes, 5, tmp_path, lines)
    bands = dict(zip(codes, parts(page, codes, lines), strict=True))
    band = max(18, lines // 24 // 2 * 2)
    for code, told in {"A": "33   2+01", "B": "33   2+01", "C": "33   2+01", "D": "33   0+33"}.items():
        if code in codes:
            assert holds(bands[code][1], lettered(told, band)), code
    assert holds(bands["A"][1], lettered("A/R01/v1", band)[:, :-2])
    if "C" in codes:
        assert (bands["C"][1] == 180).sum() > 200  # not sure, dark on light
        assert (bands["A"][1] == 180).sum() < 50


def test_a_slate_says_how_many_frames_are_lacking_and_after_which_and_counts_them(panes, tmp_path: Path):
    for step, place in ((2, 1), (3, 2)):
        window, band = parts(still(panes, "AB", step, tmp_path), "AB")[1]
        assert holds(band, lettered(f"lacking {place} of 2", 20))
        size = max(12, (window.shape[0] - 2) // 8)
        for told in ("lacks 2 frames", "after its frame 29", f"{place} of 2"):
            assert holds(window, np.maximum(lettered(told, size), 40), in_the_middle=True), told


def test_where_no_print_was_put_beside_what_is_shown_the_slate_counts_nothing(panes, tmp_path: Path):
    alone = order(panes, "AB").model_copy(update={"steps": ((Seen(0, 30), Seen(-1, 0)),)})
    put_beside(alone, tmp_path / "alone.png")
    with Image.open(tmp_path / "alone.png") as picture:
        window, band = parts(np.asarray(picture.convert("RGB")), "AB")[1]
    assert holds(band, lettered("no print", 20))
    assert holds(
        window, np.maximum(lettered("was put beside this", (window.shape[0] - 2) // 6), 40), in_the_middle=True
    )


@pytest.mark.parametrize("rate", ["16", "18", "24"])
def test_a_movie_of_four_prints_shows_each_step_once_at_any_speed(panes, rate: str, tmp_path: Path):
    assert put_beside(order(panes, "ABCD", rate, lines=240), tmp_path / "four.mov") == len(FRAMES)
    with av.open(str(tmp_path / "four.mov")) as movie:
        video = movie.streams.video[0]
        assert video.average_rate == Fraction(rate)
        pages = [each.to_ndarray(format="rgb24") for each in movie.decode(video)]
        assert float(video.duration * video.time_base) == pytest.approx(len(FRAMES) / float(rate))
    assert len(pages) == len(FRAMES)
    for number, page in zip(FRAMES, pages, strict=True):
        for lane, (window, _) in enumerate(parts(page, "ABCD", 240)):
            middle = window[window.shape[0] // 2].astype(float)[:, 0]
            lit = np.flatnonzero(middle > 60)
            if lane == 1 and number in {30, 31}:
                assert not len(lit) or middle.mean() < 80  # a slate
            else:
                rises = middle[lit[3 * len(lit) // 4]] > middle[lit[len(lit) // 4]]
                assert rises == bool(number % 2), (number, lane)


def test_a_name_without_room_is_made_smaller_and_then_cut_and_one_with_room_is_left_as_it_is():
    assert np.array_equal(shortened("A/R01/v1", 20, 400), lettered("A/R01/v1", 20))
    smaller = shortened("A/R01/v1", 20, lettered("A/R01/v1", 20).shape[1] - 4)
    assert smaller.shape[0] < 20
    assert shortened(NAMES["B"], 20, 90).shape[1] <= 90
    assert shortened(NAMES["B"], 20, 0).shape[1] == 0
