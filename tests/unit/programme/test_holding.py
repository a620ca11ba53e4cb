"""A frame held for three is not taken for two that the other print lacks. The scores are drawn here."""

import numpy as np
import pytest

from relay.programme.alignment.holding import held
from relay.programme.alignment.walking import NONE, Row

MOST = 3.0  # nats of frames that are one picture, of one moment


def rows(best: list[int], score: float = MOST) -> list[Row]:
    """Return rows that each speak for one frame of 20, and against all others."""
    scores = np.full((len(best), 20), -2.0, np.float32)
    scores[np.arange(len(best)), best] = score
    return [Row(0, each) for each in scores]


def walk(*frames: int | None) -> np.ndarray:
    return np.array([NONE if frame is None else frame for frame in frames])


@pytest.mark.parametrize("shown", [(4, 4), (4, 5), (5, 5)])
def test_two_frames_that_show_what_is_beside_them_are_held(shown: tuple[int, int]):
    out = held(walk(3, 4, None, None, 5, 6), rows([3, 4, *shown, 5, 6]))
    assert out.tolist() == [3, 4, *shown, 5, 6]


def test_two_frames_that_show_another_moment_stay_lacking():
    found = walk(3, 4, None, None, 5, 6)
    assert (held(found, rows([3, 4, 4, 5, 5, 6], score=2.9)) == found).all()


@pytest.mark.parametrize(
    "found",
    [
        walk(3, 4, None, 5, 6, 7),
        walk(3, None, None, None, 4, 5),
        walk(3, 4, None, None, 6, 7),
        walk(None, None, 4, 5, 6, 7),
        walk(3, 4, 5, 6, None, None),
        walk(None, None),
    ],
    ids=["one", "three", "the other print skips too", "at the start", "at the end", "nothing else"],
)
def test_anything_but_two_between_frames_that_follow_each_other_is_left(found: np.ndarray):
    everything = [Row(0, np.full(20, MOST, np.float32)) for _ in found]
    assert (held(found, everything) == found).all()


def test_frames_out_of_reach_of_a_row_speak_against():
    found = walk(3, 4, None, None, 5, 6)
    narrow = [Row(10, np.full(5, MOST, np.float32)) for _ in found]
    assert (held(found, narrow) == found).all()
