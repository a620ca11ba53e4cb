"""TIFF, PNG, OpenEXR, FLAC and movies: a clean package has no finding, and each damage is found where it is.

Frames are written by OpenImageIO, sound by libsndfile, movies by FFmpeg.
"""

import shutil
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import pytest
import soundfile

from relay.film.edgecode import edge_code_at
from relay.film.gauges import GAUGES
from relay.media.asked import Asked
from relay.media.eyes import Eyes
from relay.media.findings import Finding, Kind
from relay.media.inspection import inspect_folder
from relay.model import FrameRange, Picture

COUNT, FIRST = 12, 1000
RATE = Fraction(18)
FORMS = {"tif": oiio.UINT16, "png": oiio.UINT16, "exr": oiio.HALF}
OTHER_FORMS = {"tif": oiio.UINT8, "png": oiio.UINT8, "exr": oiio.FLOAT}
KEY_CODE = oiio.TypeDesc(oiio.INT, oiio.SCALAR, oiio.KEYCODE, 7)
GRAIN = np.random.default_rng(12)
PICTURES = [GRAIN.integers(9000, 50000, (30, 40, 3), dtype=np.uint16) for _ in range(COUNT)]
BAD = (FrameRange(first=FIRST + 5, last=FIRST + 6),)


@pytest.fixture(scope="module")
def eyes() -> Iterator[Eyes]:
    with Eyes(1) as eyes:
        yield eyes


class Reel:
    """Frames of one kind, to be spoilt at places 5 and 6."""

    def __init__(self, folder: Path, kind: str) -> None:
        self.folder, self.kind = folder, kind
        self.asked = Asked(rate=RATE, gauge=GAUGES["35mm"])
        for at in range(COUNT):
            self.draw(at)

    def place(self, at: int) -> Path:
        return self.folder / f"A_R01.{FIRST + at:07d}.{self.kind}"

    def draw(self, at: int, picture: Any = None, form: object = None, perforation: int = 0, **more: Any) -> None:
        shown = PICTURES[at] if picture is None else picture
        spec = oiio.ImageSpec(shown.shape[1], shown.shape[0], shown.shape[2], form or FORMS[self.kind])
        told = {"compression": "zip", **more}
        if self.kind == "exr":
            code = edge_code_at(perforation or 640 + 4 * at, GAUGES["35mm"])
            spec.attribute("smpte:KeyCode", KEY_CODE, (2, 1, 123456, code.count, code.offset, 4, 64))
            spec.attribute("framesPerSecond", "rational", told.pop("rate", (18, 1)))
        for name, value in told.items():
            spec.attribute(name, value)
        output = oiio.ImageOutput.create(str(self.place(at)))
        assert output.open(str(self.place(at)), spec), output.geterror()
        assert output.write_image(shown)
        output.close()

    def redraw(self, picture: Callable[[int], Any] = lambda at: PICTURES[at], **how: Any) -> None:
        for at in (5, 6):
            self.draw(at, picture(at), **how)

    def found(self, eyes: Eyes) -> tuple[Finding, ...]:
        paths = [path.name for path in self.folder.iterdir()]
        return inspect_folder(self.folder, paths, eyes, self.asked).report().findings


def flat(level: int) -> Callable[[int], Any]:
    return lambda _at: (level + GRAIN.normal(0, 300, (30, 40, 3))).clip(0, 65535).astype(np.uint16)


def lost(reel: Reel) -> None:
    for at in (5, 6):
        reel.place(at).unlink()


def twice(reel: Reel) -> None:
    for at in (5, 6):
        shutil.copy(reel.place(at), reel.folder / f"A_R01.{FIRST + at:08d}.{reel.kind}")


def strays(reel: Reel) -> None:
    for at in (5, 6):
        shutil.copy(reel.place(at), reel.folder / f"B_R02.{FIRST + at:07d}.{reel.kind}")


def cut_short(reel: Reel) -> None:
    for at in (5, 6):
        body = reel.place(at).read_bytes()
        reel.place(at).write_bytes(body[: len(body) * 2 // 3])


def overwritten(reel: Reel) -> None:
    for at in (5, 6):
        reel.place(at).write_bytes(bytes(64) + reel.place(at).read_bytes()[64:])


def wide_asked(reel: Reel) -> None:
    reel.asked = Asked(picture=Picture(width=41))


def held(reel: Reel) -> None:
    for at in (5, 6):
        shutil.copy(reel.place(4), reel.place(at))
        if reel.kind == "exr":
            reel.draw(at, PICTURES[4])


def come_again(reel: Reel) -> None:
    reel.redraw(lambda at: PICTURES[at - 4])


def leaps(reel: Reel) -> None:
    for at in range(5, COUNT):
        reel.draw(at, perforation=640 + 4 * (at + 10))


def runs_backwards(reel: Reel) -> None:
    for at in range(5, COUNT):
        reel.draw(at, perforation=600 + 4 * (at - 5))


ALL = ("tif", "png", "exr")
DAMAGES: dict[str, tuple[Callable[[Reel], None], set[Kind], tuple[str, ...]]] = {
    "a gap": (lost, {Kind.GAP}, ALL),
    "doubles": (twice, {Kind.DOUBLE}, ALL),
    "another run": (strays, {Kind.MIXED}, ALL),
    "cut short": (cut_short, {Kind.UNREADABLE}, ALL),
    "overwritten": (overwritten, {Kind.UNREADABLE}, ALL),
    "smaller": (lambda reel: reel.redraw(lambda at: PICTURES[at][:28]), {Kind.SIZE}, ALL),
    "fewer bits": (lambda reel: reel.redraw(form=OTHER_FORMS[reel.kind]), {Kind.DEPTH}, ALL),
    "one channel": (lambda reel: reel.redraw(lambda at: PICTURES[at][:, :, :1].copy()), {Kind.CHANNELS}, ALL),
    "packed otherwise": (lambda reel: reel.redraw(compression="none"), {Kind.PACKING}, ("tif", "exr")),
    "another transfer": (lambda reel: reel.redraw(**{"oiio:ColorSpace": "linear"}), {Kind.TRANSFER}, ("png",)),
    "turned": (lambda reel: reel.redraw(Orientation=3), {Kind.ORIENTATION}, ("tif", "exr")),
    "not as asked": (wide_asked, {Kind.NOT_AS_ASKED}, ALL),
    "black": (lambda reel: reel.redraw(flat(600)), {Kind.BLACK}, ALL),
    "clear": (lambda reel: reel.redraw(flat(60000)), {Kind.CLEAR}, ALL),
    "frozen": (held, {Kind.FROZEN}, ALL),
    "repeated": (come_again, {Kind.REPEATED}, ALL),
    "another rate": (lambda reel: reel.redraw(rate=(24, 1)), {Kind.RATE}, ("exr",)),
    "edge code that leaps": (leaps, {Kind.EDGE_GAP}, ("exr",)),
    "edge code that runs backwards": (runs_backwards, {Kind.EDGE_CODE}, ("exr",)),
}


@pytest.mark.parametrize("kind", ALL)
def test_nothing_is_found_in_clean_frames_of_other_kinds(eyes: Eyes, tmp_path: Path, kind: str):
    assert Reel(tmp_path, kind).found(eyes) == ()


@pytest.mark.parametrize(("name", "kind"), [(name, kind) for name, (*_, kinds) in DAMAGES.items() for kind in kinds])
def test_each_damage_is_found_in_frames_of_other_kinds(eyes: Eyes, tmp_path: Path, name: str, kind: str):
    damage, expected, _ = DAMAGES[name]
    reel = Reel(tmp_path, kind)
    damage(reel)
    found = reel.found(eyes)
    assert {each.kind for each in found} == expected
    places = {frames for each in found for frames in each.frames}
    if name == "not as asked":
        assert places == {FrameRange(first=FIRST, last=FIRST + COUNT - 1)}
    elif name.startswith("edge code"):
        assert places == {FrameRange(first=FIRST + 5, last=FIRST + 5)}
    else:
        assert places == set(BAD)


def tone(seconds: float) -> Any:
    at = np.arange(round(seconds * 8000))
    return (0.5 * np.sin(at * 0.13) + 0.01 * np.sin(at * 0.7)).astype(np.float32)


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_sound_is_heard_to_its_end_whichever_file_it_lies_in(eyes: Eyes, tmp_path: Path, kind: str):
    reel, mix = Reel(tmp_path, "tif"), tmp_path / f"mix.{kind}"
    reel.asked = Asked(rate=Fraction(2))  # 12 frames at 2 a second: room for silence

    def heard(samples: Any) -> set[Kind]:
        soundfile.write(mix, samples, 8000, subtype="PCM_16")
        return {each.kind for each in reel.found(eyes)}

    whole = tone(6)
    assert heard(whole) == set()
    assert heard(tone(7)) == {Kind.SOUND_LENGTH}
    assert heard(np.where(np.arange(whole.size) // 40 == 100, 1, whole)) == {Kind.CLIPPING}
    assert heard(np.where(np.arange(whole.size) // 24000 == 1, 0, whole)) == {Kind.SILENCE}
    heard(whole)
    mix.write_bytes(mix.read_bytes()[:-20_000])
    assert {each.kind for each in reel.found(eyes)} & {Kind.TRUNCATED, Kind.UNREADABLE}


AGAIN = -1


def movie(place: Path, levels: list[int | None]) -> None:
    """Write a movie without loss: a number makes a picture flat, None fills it with grain, AGAIN holds the last."""
    options = {} if place.suffix == ".mkv" else {"movflags": "+faststart"}
    with av.open(str(place), "w", options=options) as container:
        stream: Any = container.add_stream("libx264", rate=24, options={"preset": "ultrafast", "qp": "0"})
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        picture = np.full((72, 64), 128, np.uint8)
        for level in levels:
            if level != AGAIN:
                picture[:48] = GRAIN.integers(40, 200, (48, 64)) if level is None else level
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, "yuv420p")))
        container.mux(stream.encode(None))


@pytest.mark.parametrize("kind", ["mov", "mp4", "mkv"])
def test_movies_are_watched_to_their_end_whatever_holds_them(eyes: Eyes, tmp_path: Path, kind: str):
    place = tmp_path / f"copy.{kind}"

    def seen(*levels: tuple[int | None, int]) -> list[tuple[Kind, tuple[FrameRange, ...]]]:
        movie(place, [level for level, count in levels for _ in range(count)])
        return [(each.kind, each.frames) for each in inspect_folder(tmp_path, [place.name], eyes).report().findings]

    assert seen((None, 40)) == []
    assert seen((None, 10), (16, 5), (None, 10)) == [(Kind.BLACK, (FrameRange(first=10, last=14),))]
    assert seen((None, 10), (235, 5), (None, 10)) == [(Kind.CLEAR, (FrameRange(first=10, last=14),))]
    assert seen((None, 10), (AGAIN, 60)) == [(Kind.FROZEN, (FrameRange(first=9, last=69),))]
    seen((None, 40))
    place.write_bytes(place.read_bytes()[: place.stat().st_size * 6 // 10])
    found = {each.kind for each in inspect_folder(tmp_path, [place.name], eyes).report().findings}
    assert found & {Kind.TRUNCATED, Kind.UNREADABLE}
