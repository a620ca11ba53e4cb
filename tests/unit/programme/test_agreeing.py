"""Three prints against each other: invented maps with errors that are known, and drawn prints as they are aligned."""

import random
from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.model import FrameRange, VersionName
from relay.programme.agreeing import AT_MOST, Sure, disputed
from relay.programme.framemap import FrameMap, Match
from tests.bench.prints.triples import NAMES, compared, each_with_each, settled
from tests.references.prints import LEVELS, drawn_source, struck

A, B, C = (VersionName(name) for name in NAMES)


def kept(seed: int) -> list[int]:
    """Draw which frames of the lost original a print holds: each once, some not."""
    draw = random.Random(seed)
    gaps = [(at, at + draw.randint(1, 9)) for at in draw.sample(range(90), 4)]
    return [frame for frame in range(100) if not any(a <= frame < b for a, b in gaps)]


def told(one: list[int], other: list[int], wrong: dict[int, int | None]) -> tuple[dict[int, Match], dict[int, Match]]:
    """Return what a map says both ways; of places `wrong` of `one`, what is not so."""
    there = {at: Match(other.index(frame) if frame in other else None, 99, sure=True) for at, frame in enumerate(one)}
    there |= {at: Match(said, 99, sure=True) for at, said in wrong.items()}
    back = {at: Match(None, 99, sure=True) for at in range(len(other))}
    back |= {match.other: Match(at, 99, sure=True) for at, match in there.items() if match.other is not None}
    return there, back


def maps_of(prints: dict[VersionName, list[int]], wrong: dict[int, int | None]) -> dict[tuple, FrameMap]:
    """Return the six maps of three prints; that of A to C is wrong where it is said to be."""
    found = {}
    for one, other in ((A, B), (B, C), (A, C)):
        mistakes = wrong if (one, other) == (A, C) else {}
        found[one, other] = FrameMap.built(one, other, *told(prints[one], prints[other], mistakes))
        found[other, one] = found[one, other].inverse()
    return found


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_prints_whose_maps_are_right_contradict_each_other_nowhere(seed: int):
    maps = maps_of({name: kept(seed + at) for at, name in enumerate((A, B, C))}, {})
    assert disputed({pair: Sure(each.there) for pair, each in maps.items()}) == {}
    assert settled(maps) == maps


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.integers(1, 3), st.booleans())
def test_where_one_map_is_wrong_nothing_stays_sure_that_contradicts_and_all_else_stays_as_it_was(
    seed: int, by: int, lacks: bool
):
    prints = {name: kept(seed + at) for at, name in enumerate((A, B, C))}
    right = maps_of(prints, {})
    said = [(at, match.other) for at, match in right[A, C].there.said() if 20 <= at < 40 and match.other is not None]
    wrong = {at: None if lacks else other + by for at, other in said}
    maps = maps_of(prints, wrong)
    after = settled(maps)
    assert compared(after)[1] == 0
    for pair, each in after.items():
        for at, match in each.there.said():
            before = maps[pair].there.at(at)
            assert match in {before, before._replace(sure=False, chance=AT_MOST)}
    unsure = {at for at, match in after[A, C].there.said() if not match.sure}
    assert unsure <= set(wrong)
    in_b = {prints[B].index(frame) for at in wrong if (frame := prints[A][at]) in prints[B]}
    assert bool(unsure) == bool(in_b)  # B, which does not have it, contradicts nobody


def test_what_looks_alike_or_is_not_sure_contradicts_nobody():
    frames = list(range(30))
    for change in ({"alike": True}, {"sure": False}):
        maps = maps_of({A: frames, B: frames, C: frames}, {10: 12})
        there = {at: match._replace(**change) for at, match in maps[A, C].there.said()}
        back = {at: match._replace(**change) for at, match in maps[C, A].there.said()}
        maps[A, C] = FrameMap.built(A, C, there, back)
        maps[C, A] = maps[A, C].inverse()
        assert settled(maps) == maps


def test_a_place_that_three_prints_contradict_each_other_at_is_doubted_in_all_six_maps_by_its_own_numbers():
    prints = {A: list(range(30)), B: list(range(5, 30)), C: list(range(10, 30))}
    maps = maps_of(prints, {20: 11})  # it shows 10
    found = disputed({pair: Sure(each.there) for pair, each in maps.items()})
    assert {pair: found[pair] for pair in ((A, B), (B, A), (B, C))} == {
        (A, B): (FrameRange(first=20, last=20),),
        (B, A): (FrameRange(first=15, last=15),),
        (B, C): (FrameRange(first=15, last=16),),  # B's 16 shows C's 11, which A's 20 was said to show
    }
    assert set(found) == set(permutations((A, B, C), 2))


@pytest.mark.parametrize(("level", "seed"), [("mild", 1302), ("medium", 1202), ("severe", 1202)])
def test_drawn_prints_of_which_all_are_sure_agree_with_each_other(level: str, seed: int):
    source = drawn_source(seed, 80)
    maps = each_with_each({name: struck(seed, source, LEVELS[level], which).grey for which, name in enumerate(NAMES)})
    before, after = compared(maps), compared(settled(maps))
    assert after[1] == 0
    assert after[0] >= 0.9 * (before[0] - before[1])
    assert before[0] > 0


def test_stretches_that_are_sure_are_joined_however_likely_they_are():
    there = {at: Match(at + 3, 90 + at % 10, sure=at != 7, alike=at in {12, 13}) for at in range(20)}
    sure = Sure(FrameMap.built(A, B, there).there)
    assert [(line.first, line.last, line.by) for line in sure.all()] == [(0, 6, 3), (8, 11, 3), (14, 19, 3)]
    assert [line[:2] for line in sure.within(5, 9)] == [(5, 6), (8, 9)]
    assert all(a.last < b.first for a, b in pairwise(sure.all()))
