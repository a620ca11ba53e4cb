"""What a late print adds, against invented prints of which the truth is known."""

from relay.model import FrameRange, VersionName
from relay.programme.lacking import Fill, Gap, Print, gaps_of
from relay.programme.late import added, filled, fills, not_known, shared, still_nowhere
from tests.unit.programme.test_lacking import A, B, C, counted, print_of, without

OWN = counted(without((40, 59), (80, 89)), with_room=True)
OTHER = counted(without((45, 59)))  # it has five frames of the first gap, and all of the second


def lacking(late: dict[int, int]) -> dict[VersionName, tuple[Gap, ...]]:
    there = print_of(A, OWN, {B: OTHER, C: late}), print_of(B, OTHER, {A: OWN, C: late})
    return {one.version: gaps_of(one) for one in there}


def test_what_it_fills_is_told_with_what_was_there_before_and_only_what_is_new_is_counted():
    late = counted(without(), first=500)
    found = [each for each in filled(lacking(late), C) if each.version == A]
    assert [(each.gap.frames, each.before.count if each.before else None, each.adds()) for each in found] == [
        (FrameRange(first=40, last=59), 5, True),
        (FrameRange(first=80, last=89), 10, False),
    ]
    assert added(filled(lacking(late), C)) == (FrameRange(first=540, last=559),)
    assert still_nowhere(lacking(late), C) == 0


def test_a_print_that_holds_what_others_hold_adds_nothing():
    late = counted(without((40, 59)), first=500)
    assert added(filled(lacking(late), C)) == ()
    assert still_nowhere(lacking(late), C) > 0
    assert not_known(lacking(late), C) == 0


def test_a_place_that_it_may_have_is_not_counted_among_those_that_no_print_has():
    late = counted(without((40, 59)), first=500)
    gaps = {A: gaps_of(print_of(A, OWN, {C: late}, sure=False))}
    assert (still_nowhere(gaps, C), not_known(gaps, C)) == (0, 1)


def test_what_may_be_any_of_many_frames_adds_nothing_where_another_print_surely_has_it():
    vague = Fill(C, (FrameRange(first=3, last=6),), wanted=1, sure=False, chance=40)
    there = Fill(B, (FrameRange(first=13, last=13),), wanted=1, sure=True, chance=97)
    assert (vague.count, vague.most) == (4, 1)
    (found,) = filled({A: (Gap(9, FrameRange(first=10, last=10), 1, (there, vague)),)}, C)
    assert (found.before, found.adds()) == (there, False)
    assert added([found]) == ()
    (found,) = filled({A: (Gap(9, FrameRange(first=10, last=10), 1, (vague,)),)}, C)
    assert (found.adds(), fills([found]), fills([found, found])) == (True, 1, 1)
    sure = Fill(C, (FrameRange(first=20, last=24),), wanted=5, sure=True, chance=97)
    assert fills([found, found._replace(fill=sure), found._replace(fill=sure, version=B)]) == 6


def test_another_version_of_the_same_reel_is_not_among_those_that_were_there():
    late, again = counted(without(), first=500), VersionName("C/R01/v2")
    one = print_of(A, OWN, {C: late, again: late})
    assert [each.before for each in filled({A: gaps_of(one)}, again)] == [None, None]


def test_the_longest_stretch_of_each_shot_that_both_surely_hold_is_what_is_compared():
    late = print_of(C, counted(without(), first=0), {A: OWN})  # its second shot begins at 50
    assert [(each.frames, each.others) for each in shared(late, A, 9)] == [
        (FrameRange(first=0, last=39), FrameRange(first=0, last=39)),
        (FrameRange(first=60, last=79), FrameRange(first=60, last=79)),
    ]
    assert [each.frames.first for each in shared(late, A, 1)] == [0]
    parts = Print(C, late.held, late.maps)
    assert [each.frames.first for each in shared(parts, A, 4)] == [0, 25, 60, 90]
    assert shared(print_of(C, counted(without()), {A: OWN}, sure=False), A, 3) == ()
