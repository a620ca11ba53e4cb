"""The reference movie of a programme: which picture stands at each place, read back by PyAV."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from relay.media.lettering import slate
from relay.media.playing import main, played
from relay.media.reference import Slip, Source, copy_reel, read_copy
from relay.media.showing import MovieOrder, Shot, Slate, Strip
from relay.model import FrameRange
from tests.references.damage import written


def tone(frame: int) -> int:
    """Return the grey of a frame, of 255: none is near that of a neighbour."""
    return 40 + frame * 73 % 170


def frames(folder: Path, numbers: list[int]) -> dict[int, str]:
    folder.mkdir()
    for number in numbers:
        picture = np.full((30, 40, 3), tone(number) * 257, np.uint16)
        (folder / f"r.{number:07d}.dpx").write_bytes(written(folder / "f.dpx", picture))
    return {number: str(folder / f"r.{number:07d}.dpx") for number in numbers}


@pytest.fixture(scope="module")
def reels(tmp_path_factory: pytest.TempPathFactory) -> list[Strip]:
    """Reel A as a reference copy at 18 in 24 of frames 10 to 40, of which 20 to 22 lack; reel B as frames 0 to 11."""
    place = tmp_path_factory.mktemp("reels")
    files = frames(place / "a", [number for number in range(10, 41) if number not in range(20, 23)])
    sources = [Source(number, Path(files[number]) if number in files else None) for number in range(10, 41)]
    copy_reel(sources, Slip("A", "R01", "35mm", Fraction(18), first=10), place / "a.mov")
    copy = read_copy(str(place / "a.mov"))
    return [
        Strip(reel="A/R01", movie=str(place / "a.mov"), held=copy.held),
        Strip(reel="B/R02", files=frames(place / "b", list(range(12)))),
    ]


def seen(path: Path) -> list[float]:
    """Return the grey in the middle of each picture of a movie, of 255."""
    with av.open(str(path)) as container:
        return [float(frame.to_ndarray(format="gray")[60:160, 120:300].mean()) for frame in container.decode(video=0)]


def test_a_reference_copy_says_which_frames_it_has(reels: list[Strip]):
    assert reels[0].held == (FrameRange(first=10, last=19), FrameRange(first=23, last=40))


def test_every_place_shows_its_frame_forwards_backwards_and_again(reels: list[Strip], tmp_path: Path):
    shots = [*(Shot(0, frame) for frame in (12, 12, 13, 14, 40, 11, 25, 25, 10)), *(Shot(1, f) for f in (3, 0, 11))]
    order = MovieOrder(rate="24", lines=240, strips=tuple(reels), shots=tuple(shots))
    assert played(order, tmp_path / "m.mov") == len(shots)
    found = seen(tmp_path / "m.mov")
    assert len(found) == len(shots)
    for grey, shot in zip(found, shots, strict=True):
        assert abs(grey - tone(shot.frame)) < 4, shot  # those beside it are 24 away, or more


def test_a_dissolve_lies_between_its_two_frames_and_a_slate_has_its_own_light(reels: list[Strip], tmp_path: Path):
    shots = (Shot(0, 12, 1, 3, 0.25), Shot(0, 12, 1, 3, 0.75), Shot(-1, 0, slate=0))
    words = Slate(kind="missing", lines=("A/R01", "3 frames missing: 20-22", "4 places"))
    order = MovieOrder(rate="25", lines=240, strips=tuple(reels), slates=(words,), shots=shots)
    played(order, tmp_path / "m.mov")
    first, second, last = seen(tmp_path / "m.mov")
    one, other = tone(12), tone(3)
    assert abs(first - (0.75 * one + 0.25 * other)) < 3
    assert abs(second - (0.25 * one + 0.75 * other)) < 3
    plain = slate(words.lines, 426, 224)[60:160, 120:300].mean()
    assert abs(last - plain) < 6


@pytest.mark.parametrize("rate", ["24", "25", "18"])
def test_pictures_are_exact_in_number_and_the_sound_ends_with_the_last(reels: list[Strip], tmp_path: Path, rate: str):
    soundfile.write(tmp_path / "s.wav", np.zeros((96_000, 2)), 48_000, subtype="PCM_24")
    shots = tuple(Shot(1, place % 12) for place in range(37))
    order = MovieOrder(rate=rate, lines=120, strips=tuple(reels), shots=shots, sound=str(tmp_path / "s.wav"))
    played(order, tmp_path / "m.mov")
    with av.open(str(tmp_path / "m.mov")) as container:
        video, sound = container.streams.video[0], container.streams.audio[0]
        assert video.frames == 37
        assert video.average_rate == Fraction(rate)
        lasts = Fraction(sound.duration) * sound.time_base
        assert abs(lasts - Fraction(37) / Fraction(rate)) < Fraction(3 * 1024, 48_000)  # AAC counts 1,024 samples


def test_what_cannot_be_made_is_said_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    (tmp_path / "x.mov").write_bytes(b"no movie")
    order = MovieOrder(rate="24", strips=(Strip(reel="A/R01", movie=str(tmp_path / "x.mov")),), shots=(Shot(0, 1),))
    (tmp_path / "order.json").write_text(order.model_dump_json(), encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["playing", str(tmp_path / "order.json"), str(tmp_path / "m.mov")])
    monkeypatch.setattr("relay.media.playing.resource.setrlimit", lambda *_: None)  # it would hold for the tests, too
    assert main() == 2
    assert capsys.readouterr().err.count("\n") == 1
