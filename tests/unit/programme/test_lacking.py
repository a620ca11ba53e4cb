"""Gaps against invented prints of which the truth is known: each print is a list of the lost original's frames."""

from relay.model import FrameRange, VersionName, ranges_of
from relay.programme.beside import in_step
from relay.programme.framemap import FrameMap, Match
from relay.programme.lacking import Print, by_shot, filled_by, gaps_of

A, B, C = (VersionName(f"{each}/R01/v1") for each in "ABC")

Numbered = dict[int, int]
"""The print's number of each frame of the original that it has."""


def print_of(name: VersionName, own: Numbered, others: dict[VersionName, Numbered], sure: bool = True) -> Print:
    maps = {}
    for other, theirs in others.items():
        there = {number: Match(theirs.get(frame), 90, sure) for frame, number in own.items()}
        back = {number: Match(own.get(frame), 90, sure) for frame, number in theirs.items()}
        maps[other] = FrameMap.built(name, other, there, back)
    return Print(name, ranges_of(set(own.values())), maps, shots=(50,))


def counted(frames: list[int], first: int = 0, with_room: bool = False) -> Numbered:
    """Number a print's frames one after another, or as the original did, with room for what lacks."""
    return {frame: first + (frame if with_room else place) for place, frame in enumerate(frames)}


def without(*spans: tuple[int, int]) -> list[int]:
    return [frame for frame in range(100) if not any(a <= frame <= b for a, b in spans)]


def test_a_hole_in_a_prints_numbers_is_filled_from_another_prints_own_numbers():
    a, b = counted(without((40, 49)), with_room=True), counted(without((10, 19)), first=1000)
    (gap,) = [gap for gap in gaps_of(print_of(A, a, {B: b})) if gap.frames]
    assert gap.frames == FrameRange(first=40, last=49)
    (fill,) = gap.fills
    assert (fill.frames, fill.wanted, fill.sure) == ((FrameRange(first=1030, last=1039),), 10, True)
    assert not gap.is_nowhere()
    assert gap.shot == 1


def test_what_numbers_leave_no_room_for_is_told_by_the_frame_that_it_follows():
    a, b = counted(without((40, 49))), counted(without((10, 19)), first=1000)
    (gap,) = gaps_of(print_of(A, a, {B: b}))
    assert (gap.after, gap.frames, gap.length) == (39, None, 10)
    assert gap.fills[0].frames == (FrameRange(first=1030, last=1039),)
    (other,) = gaps_of(print_of(B, b, {A: a}))
    assert (other.after, other.length, other.fills[0].frames) == (1009, 10, (FrameRange(first=10, last=19),))


def test_a_hole_in_the_other_prints_own_numbers_does_not_part_what_belongs_to_one_place():
    a, b = counted(without((40, 49))), {frame: frame + (5 if frame > 44 else 0) for frame in range(100)}
    (gap,) = gaps_of(print_of(A, a, {B: b}))
    (fill,) = gap.fills
    assert (gap.after, gap.length) == (39, 10)
    assert fill.frames == fill.certain == (FrameRange(first=40, last=44), FrameRange(first=50, last=54))
    assert (fill.count, fill.wanted, fill.sure, fill.chance) == (10, 10, True, 90)
    steps = in_step(print_of(A, a, {B: b}), (B,), FrameRange(first=38, last=41))
    assert [step[1] for step in steps] == [38, 39, *range(40, 45), *range(50, 55), 55, 56]


def test_numbers_that_the_other_print_leaves_out_are_no_frames_that_fill_a_hole():
    a = counted(without((40, 49)), with_room=True)
    b = {frame: frame + (7 if frame > 44 else 0) for frame in range(100)}  # its numbers leave out 45 to 51
    (gap,) = gaps_of(print_of(A, a, {B: b}))
    (fill,) = gap.fills
    assert fill.frames == (FrameRange(first=40, last=44), FrameRange(first=52, last=56))
    assert (fill.count, fill.sure) == (10, True)
    shown = [step[1] for step in in_step(print_of(A, a, {B: b}), (B,), FrameRange(first=38, last=51))]
    assert set(shown) <= set(b.values())


def test_the_head_that_one_print_lacks_comes_before_its_first_frame():
    (gap,) = gaps_of(print_of(A, counted(without((0, 9))), {B: counted(without())}))
    assert (gap.after, gap.length) == (None, 10)


def test_what_no_print_has_is_nowhere_and_the_best_part_is_told_first():
    a = counted(without((40, 59)), with_room=True)
    b, c = counted(without((45, 59))), counted(without((40, 55)))
    (gap,) = [gap for gap in gaps_of(print_of(A, a, {B: b, C: c})) if gap.frames]
    assert gap.is_nowhere()
    assert [(fill.version, fill.count) for fill in gap.fills] == [(B, 5), (C, 4)]
    assert not any(fill.sure for fill in gap.fills)  # where in the hole they belong, no edge tells


def test_nothing_is_sure_that_a_map_is_not_sure_of():
    a, b = counted(without((40, 49)), with_room=True), counted(without())
    (gap,) = gaps_of(print_of(A, a, {B: b}, sure=False))
    assert gap.fills[0].count == 10
    assert not gap.fills[0].sure


def test_that_another_print_has_none_of_a_hole_is_known_only_where_all_around_it_is_sure():
    a = counted(without((40, 49)), with_room=True)
    for sure, unknown in ((True, ()), (False, (B,))):
        (gap,) = gaps_of(print_of(A, a, {B: counted(without((40, 49)))}, sure=sure))
        assert (gap.fills, gap.unknown, gap.not_known()) == ((), unknown, 10 * len(unknown))


def test_a_range_that_the_print_holds_itself_is_found_in_the_others_and_what_they_lack_of_it_is_not():
    a, b = counted(without(), with_room=True), counted(without((33, 34)), first=500)
    (fill,) = filled_by(print_of(A, a, {B: b}), FrameRange(first=30, last=39))
    assert (fill.count, fill.wanted, fill.frames) == (8, 10, (FrameRange(first=530, last=537),))
    assert not fill.is_whole()


def test_a_place_that_nobody_knows_anything_of_is_filled_by_nobody():
    (fill,) = filled_by(print_of(A, counted(without()), {B: counted(without())}), FrameRange(first=500, last=510))
    assert (fill.count, fill.sure, fill.chance) == (0, False, 0)


def test_prints_that_are_alike_lack_nothing():
    assert gaps_of(print_of(A, counted(without()), {B: counted(without(), first=7)})) == ()


def test_what_lacks_is_counted_by_shot_too_and_by_none_where_nobody_looked_for_cuts():
    a = counted(without((20, 23), (60, 69), (80, 80)), with_room=True)
    one = print_of(A, a, {B: counted(without())})
    assert [(each.shot, each.frames.first, each.frames.last, each.places, each.lacks) for each in
            by_shot(one, gaps_of(one))] == [(1, 0, 49, 1, 4), (2, 50, 99, 2, 11)]  # fmt: skip
    assert one.spans() == (FrameRange(first=0, last=49), FrameRange(first=50, last=99))
    unseen = Print(A, one.held, one.maps)
    assert by_shot(unseen, gaps_of(unseen)) == ()
    whole = Print(A, one.held, one.maps, shots=())
    assert [each.shot for each in by_shot(whole, gaps_of(whole))] == [1]  # looked at, and found to be one shot
