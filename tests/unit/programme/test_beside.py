"""Prints in step against invented prints: whatever is shown together shows the same frame of the lost original."""

import pytest

from relay.model import FrameRange
from relay.programme.beside import Lacks, in_step
from tests.unit.programme.test_lacking import A, B, C, counted, print_of, without


def test_what_is_shown_together_is_the_same_frame_and_every_frame_is_shown_once():
    a, b, c = counted(without((40, 49))), counted(without((10, 19)), first=500), counted(without((70, 79)), first=900)
    steps = in_step(print_of(A, a, {B: b, C: c}), (B, C), FrameRange(first=0, last=89))
    shown = [{number: frame for frame, number in each.items()} for each in (a, b, c)]
    for step in steps:
        told = {shown[lane][seen] for lane, seen in enumerate(step) if not isinstance(seen, Lacks)}
        assert len(told) == 1
    for lane, own in enumerate(shown):
        assert [seen for step in steps if not isinstance(seen := step[lane], Lacks)] == sorted(own)
    assert [step[0] for step in steps[40:50]] == [Lacks(place, 10) for place in range(1, 11)]


def test_prints_that_were_not_put_side_by_side_cannot_be_shown_in_step():
    with pytest.raises(ValueError, match="was not put beside"):
        in_step(print_of(A, counted(without()), {}), (B,), FrameRange(first=0, last=9))
