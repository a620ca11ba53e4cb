"""Frame maps against a plain dictionary of what each invented print holds: the truth, drawn at random."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.model import FrameRange, VersionName
from relay.programme.framemap import FrameMap, Match, Way, disagreements, parse_map, runs_of, stored_map

A, B, C = (VersionName(f"{each}/R01/v1") for each in "ABC")


def held(seed: int, frames: int = 60) -> list[int]:
    """Draw the frames of the lost original that a print holds, one after another; some are there twice."""
    draw = random.Random(seed)
    kept: list[int] = []
    for frame in range(frames):
        kept += [frame] * draw.choice((0, 1, 1, 1, 1, 1, 1, 1, 2))
    return kept or [0]


def true_map(one: VersionName, other: VersionName, first: list[int], second: list[int]) -> FrameMap:
    def way(here: list[int], there: list[int]) -> dict[int, Match]:
        return {
            place: Match(there.index(frame) if frame in there else None, 90, sure=True)
            for place, frame in enumerate(here)
        }

    return FrameMap.built(one, other, way(first, second), way(second, first))


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.integers(0, 10_000), st.integers(0, 10_000))
def test_a_map_says_what_was_put_in_comes_back_from_its_bytes_and_agrees_with_the_way_round(a: int, b: int, c: int):
    one, two, three = held(a), held(b), held(c)
    found = true_map(A, B, one, two)
    for place, frame in enumerate(one):
        match = found.there.at(place)
        assert match is not None
        assert (match.other is None) == (frame not in two)
        assert match.other is None or two[match.other] == frame
    assert parse_map(stored_map(found)) == found
    assert found.inverse().inverse() == found
    round_about, direct = found.then(true_map(B, C, two, three)), true_map(A, C, one, three)
    assert disagreements(direct, round_about) == ()
    lacking = {place for each in found.there.lacking() for place in range(each.frames.first, each.frames.last + 1)}
    assert lacking == {place for place, frame in enumerate(one) if frame not in two}
    inserted = [frame for each in found.inserts() for frame in range(each.frames.first, each.frames.last + 1)]
    assert inserted == [place for place, frame in enumerate(two) if frame not in one]


def test_maps_that_surely_contradict_are_found_and_unsure_or_like_frames_are_not() -> None:
    direct = FrameMap.built(A, C, {frame: Match(frame, 99, sure=True) for frame in range(6)})
    other = FrameMap.built(
        A,
        C,
        {
            0: Match(0, 99, sure=True),
            1: Match(5, 99, sure=True),
            2: Match(None, 99, sure=True),
            3: Match(9, 40, sure=False),
            4: Match(9, 99, sure=True, alike=True),
        },
    )
    assert disagreements(direct, other) == (FrameRange(first=1, last=2),)
    with pytest.raises(ValueError, match="cannot be compared"):
        disagreements(direct, other.inverse())
    with pytest.raises(ValueError, match="do not meet"):
        direct.then(other)


def test_a_missing_range_tells_what_is_certain_and_how_far_it_may_reach() -> None:
    said = [(frame, Match(frame, 95, sure=frame not in {8, 9})) for frame in range(10)]
    said += [(10, Match(None, 60, sure=False)), *((frame, Match(None, 90, sure=True)) for frame in range(11, 15))]
    said += [(15, Match(10, 95, sure=True, alike=True)), (16, Match(11, 95, sure=True))]
    (found,) = Way(runs_of(said)).lacking()
    assert found.frames == FrameRange(first=10, last=14)
    assert found.certain == FrameRange(first=11, last=14)
    assert found.widest == FrameRange(first=8, last=15)
    assert found.chance == (60 + 4 * 90) // 5


def test_turned_round_the_likeliest_of_several_is_named_and_what_none_shows_is_lacking() -> None:
    there = {0: Match(0, 80, sure=True), 1: Match(0, 90, sure=True), 2: Match(2, 90, sure=False)}
    found = FrameMap.built(A, B, there, frames=range(3))
    assert found.back.at(0) == Match(1, 90, sure=True)
    assert found.back.at(1) == Match(None, 50, sure=False)
    assert found.back.at(7) is None


@pytest.mark.parametrize(
    "spoilt",
    [
        b"",
        b"[]",
        b'{"relay_frame_map": 2}',
        b"\xff\xfe",
        b"[" * 10_000,
        {"relay_frame_map": 2},
        {"one": "A/R01"},
        {"there": [[0, 1, 0, 101, True, False]]},
        {"there": [[0, 0, 0, 50, True, False]]},
        {"there": [[0, 10**12, 0, 50, True, False]]},
        {"there": [[0, 1, -(10**12), 50, True, False]]},
        {"there": [[0, 5, 0, 50, True, False], [3, 5, 3, 50, True, False]]},
        {"there": [[0, 5, 0, 50, 1, False]]},
        {"there": [[0, 1, 0, 50, True]]},
        {"more": 1},
    ],
)
def test_what_is_no_frame_map_is_refused(spoilt: bytes | dict[str, object]) -> None:
    body = json.loads(stored_map(true_map(A, B, [0, 1], [0, 1])))
    with pytest.raises(ValueError, match=r"frame map|run"):
        parse_map(spoilt if isinstance(spoilt, bytes) else json.dumps(body | spoilt).encode())


def test_equal_maps_are_equal_bytes_and_straight_stretches_are_one_run() -> None:
    found = true_map(A, B, list(range(5_000)), list(range(10, 5_000)))
    assert [run.length for run in found.there.runs] == [10, 4_990]
    assert len(stored_map(found)) < 250
