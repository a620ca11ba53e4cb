"""Prints that nobody put side by side, reached by way of others: against invented prints whose truth is known."""

from functools import reduce
from itertools import combinations, pairwise

from relay.model import FrameRange, VersionName
from relay.programme.chaining import Link, paths_from
from relay.programme.coverage import covered
from relay.programme.framemap import FrameMap
from relay.programme.lacking import Print, filled_by, gaps_of
from tests.unit.programme.test_lacking import A, B, C, counted, print_of, without

D = VersionName("D/R01/v1")
LINKS = (Link(A, B, 0.9), Link(C, B, 0.9), Link(C, D, 0.9))


def test_the_path_with_the_fewest_links_is_taken_to_the_newest_version_and_no_reel_twice():
    assert paths_from(A, LINKS) == ((A, B, C), (A, B, C, D))
    assert paths_from(B, LINKS) == ((B, C, D),)
    assert paths_from(A, [*LINKS, Link(A, C, 0.1)]) == ((A, C, D),)
    rivals = [Link(A, B, 0.9), Link(B, D, 0.5), Link(A, C, 0.8), Link(C, D, 0.8)]
    assert paths_from(A, rivals) == ((A, C, D),)  # 0.64 of the frames surely, against 0.45
    again = VersionName("A/R01/v2")
    assert paths_from(A, [Link(A, B, 1), Link(B, again, 1), Link(again, C, 1)]) == ()
    newer = VersionName("C/R01/v2")
    assert paths_from(A, [*LINKS, Link(B, newer, 0.1)])[0] == (A, B, newer)
    assert paths_from(C, []) == ()
    many = [VersionName(f"{code}/R01/v{number}") for code in "BCDEFGH" for number in range(1, 9)]
    every = [Link(one, other, 0.9) for one, other in combinations([A, *many], 2) if one[0] != other[0]]
    assert paths_from(A, [*every, Link(many[-1], VersionName("X/R01/v1"), 0.9)]) == ((A, many[-1], "X/R01/v1"),)


def chained(prints: dict[VersionName, dict[int, int]], sure: bool = True) -> Print:
    """Return the first print, which knows of the last only by way of those between."""
    names = list(prints)
    steps = [print_of(a, prints[a], {b: prints[b]}, sure).maps[b] for a, b in pairwise(names)]
    first = print_of(names[0], prints[names[0]], {names[1]: prints[names[1]]}, sure)
    return Print(first.version, first.held, {**first.maps, names[-1]: reduce(FrameMap.then, steps)})


def test_what_the_print_between_lacks_is_not_known_and_never_told_as_lacking():
    a, b, c = counted(without()), counted(without((10, 19))), counted(without((60, 79)))
    one = chained({A: a, B: b, C: c})
    strips = covered(one, {}).strips
    assert [(str(each.frames), each.holding) for each in strips[2].stretches] == [
        ("0-9", "held"), ("10-19", "not known"), ("20-59", "held"), ("60-79", "lacking"), ("80-99", "held"),
    ]  # fmt: skip
    assert strips[2].by == (B,)
    _, by_way = sorted(filled_by(one, FrameRange(first=5, last=14)), key=lambda fill: fill.version)
    assert (by_way.count, by_way.unknown, by_way.sure, by_way.by) == (5, 5, False, (B,))


def test_a_hole_is_in_no_print_only_where_every_print_is_known_to_lack_it():
    a, c = counted(without((30, 39)), with_room=True), counted(without())
    (gap,) = [each for each in gaps_of(chained({A: a, B: counted(without((10, 69))), C: c})) if each.frames]
    assert (gap.fills, gap.unknown) == ((), (B, C))  # nothing near the hole is known of either
    found = covered(chained({A: a, B: counted(without((10, 69))), C: c}), {})
    assert found.nowhere == ()
    lacking = counted(without((30, 39)))
    assert covered(chained({A: a, B: lacking, C: lacking}), {}).nowhere == (FrameRange(first=30, last=39),)


def test_a_gap_is_filled_by_way_of_another_print_and_one_link_that_is_not_sure_leaves_nothing_sure():
    a, b, c = counted(without((30, 39)), with_room=True), counted(without((60, 69)), first=200), counted(without())
    (fill,) = [each for each in gaps_of(chained({A: a, B: b, C: c}))[0].fills if each.version == C]
    assert (fill.frames, fill.sure, fill.by) == ((FrameRange(first=30, last=39),), True, (B,))
    unsure = gaps_of(chained({A: a, B: b, C: c}, sure=False))[0]
    assert {each.sure for each in unsure.fills} == {False}
    assert (unsure.found(), unsure.surely()) == (10, 0)
