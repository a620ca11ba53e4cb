"""The photographic clip (REFERENCES: streets as a camera saw them) against copies of itself as they turn up.

What is asked of the least damaged drawn prints is asked of each: 99 of 100 frames exact, 70 of them said to be sure.
tests/bench/prints/filmed.py does it with many copies of each kind.
"""

import numpy as np
import pytest

from relay.programme.alignment.aligning import frame_map_between
from relay.programme.framemap import FrameMap
from relay.programme.repeating import with_repeats
from tests.bench.prints.filmed import gaps_of, weighed
from tests.references.filmed_copies import KINDS, Pictures, copied, encoded, read, thumbnails
from tests.references.pictures import clip

FRAMES = 160
EXACT = {"doubled": 0.95, "all of it": 0.9}
"""A doubled frame in a calm shot may be found some frames late: docs/results/prints.md says how often."""


@pytest.fixture(scope="module")
def film(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Pictures:
    cache = request.config.cache
    return read(str(clip(cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("clip"))), FRAMES)


@pytest.fixture(scope="module")
def grey(film: Pictures) -> np.ndarray:
    return thumbnails(film)


def mapped(grey: np.ndarray, copy: np.ndarray) -> FrameMap:
    reels = [(np.arange(len(each)), each) for each in (grey, copy)]
    return with_repeats(frame_map_between(("A/R01/v1", "B/R01/v1"), *reels), *reels)


@pytest.mark.parametrize("kind", KINDS)
def test_a_copy_of_a_photographed_reel_is_found_frame_by_frame_and_its_gaps_in_their_places(
    film: Pictures, grey: np.ndarray, kind: str
):
    order, copy = copied(film, kind, seed=1)
    found = mapped(grey, copy)
    for told in (weighed(found.there, list(range(FRAMES)), order), weighed(found.back, order, list(range(FRAMES)))):
        assert told.right >= EXACT.get(kind, 0.99) * told.frames
        assert told.sure >= 0.7 * told.frames
        assert told.sure_and_right >= 0.99 * told.sure
    lacking = [(each.frames.first, each.frames.last) for each in found.there.lacking()]
    assert len(lacking) == len(gaps_of(order, FRAMES))
    assert len(found.inserts()) == 0 or kind == "all of it"  # what a copy holds twice is nothing that the clip lacks
    assert np.abs(np.subtract(lacking, gaps_of(order, FRAMES))).max(initial=0) <= 1


def test_the_copy_that_was_encoded_anew_is_one_that_anybody_sees_to_be_one(film: Pictures):
    error = np.mean([(a.astype(float) - b) ** 2 for a, b in zip(film[:40], encoded(film[:40], 45), strict=True)])
    assert 10 * np.log10(255**2 / error) < 30  # decibels
