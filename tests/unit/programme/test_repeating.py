"""Frames that a print holds twice, against moving pictures of which it is known which frame stands where."""

import numpy as np
import pytest

from relay.model import VersionName
from relay.programme.framemap import FrameMap, Match
from relay.programme.repeating import with_repeats

A, B = VersionName("A/R01/v1"), VersionName("B/R01/v1")


def moving(frames: list[int], light: float = 0.0, moves: float = 1.0) -> np.ndarray:
    """Draw stripes that go a pixel further with each frame, under grain that each frame has of its own."""
    draw, across = np.random.default_rng(5), np.arange(64)
    rows = [120 + 60 * np.sin((across - moves * at) / 4) + light * place % 7 for place, at in enumerate(frames)]
    return np.clip(np.stack([np.tile(each, (48, 1)) for each in rows]) + draw.normal(0, 2, (len(rows), 48, 64)), 0, 255)


def found(own: list[int], theirs: list[int]) -> FrameMap:
    """Say of the other print's frames only the first that shows a picture, as an alignment does."""
    there = {at: Match(theirs.index(each) if each in theirs else None, 97, sure=True) for at, each in enumerate(own)}
    first = {match.other: at for at, match in reversed(there.items()) if match.other is not None}
    back = {at: Match(first.get(at), 97, sure=at in first) for at in range(len(theirs))}
    return FrameMap.built(A, B, there, back)


def reels(own: list[int], theirs: list[int], **drawn: float) -> list[tuple[np.ndarray, np.ndarray]]:
    return [(np.arange(len(each)), moving(each, **drawn).astype(np.uint8)) for each in (own, theirs)]


@pytest.mark.parametrize("light", [0.0, 9.0])  # as a lamp that flickers
def test_what_a_print_holds_twice_or_three_times_names_the_one_frame_of_the_other_and_is_never_sure(light: float):
    own, theirs = list(range(40)), sorted([*range(40), 12, 25, 25])
    after = with_repeats(found(own, theirs), *reels(own, theirs, light=light))
    assert [match.other for _, match in after.back.said()] == theirs
    assert [at for at, match in after.back.said() if not match.sure] == [13, 27, 28]
    assert after.there == found(own, theirs).there
    assert after.inserts() == ()


def test_what_the_other_print_truly_lacks_stays_lacking():
    own, theirs = [*range(15), *range(22, 40)], list(range(40))
    before = found(own, theirs)
    assert with_repeats(before, *reels(own, theirs)) == before


def test_where_nothing_moves_nobody_can_tell_and_nothing_is_changed():
    own, theirs = list(range(40)), sorted([*range(40), 12])
    before = found(own, theirs)
    assert with_repeats(before, *reels(own, theirs, moves=0.0)) == before


def test_the_shortest_reels_and_those_that_share_nothing_are_left_as_they_are():
    for own, theirs in (([0], [0]), ([0, 1], [1, 1]), (list(range(20)), list(range(50, 70)))):
        before = found(own, theirs)
        assert with_repeats(before, *reels(own, theirs)) == before
