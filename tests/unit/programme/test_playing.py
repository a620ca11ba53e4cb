"""Which picture stands at each place of a programme's movie, and what is slated."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from relay.media.showing import Shot, Slate, Strip
from relay.model import FrameRange
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.playing import missing_of, movie_order
from tests.unit.programme.test_cutlist import LISTS, A, B

HELD = (FrameRange(first=0, last=99), FrameRange(first=150, last=5200))


@given(LISTS.filter(lambda cut: cut.length() > 0), st.booleans())
def test_every_place_has_one_picture_its_frame_or_a_slate_that_names_it(cut: CutList, is_copy: bool):
    strip = Strip(reel="A/R01", movie="a.mov" if is_copy else None, held=HELD)
    order = movie_order(cut, [strip])
    assert len(order.shots) == cut.length()
    slated = set()
    for shot, shown in zip(order.shots, cut.shown(), strict=True):
        is_held = shown.reel == A and any(each.first <= shown.frame <= each.last for each in HELD)
        if is_held:
            assert shot == Shot(0, shown.frame)
        else:
            assert order.slates[shot.slate].lines[0] == shown.reel
            slated.add(shown)
    told = [(reel, each) for reel, ranges in missing_of(cut, [strip]).items() for each in ranges]
    assert {(reel, frame) for reel, each in told for frame in range(each.first, each.last + 1)} == slated


def test_a_slate_counts_what_is_missing_and_says_which():
    cut = CutList(Fraction(24), (Event(A, 96, 12, Fraction(16)), Event(B, 3, 4, Fraction(24))))
    order = movie_order(cut, [Strip(reel="A/R01", held=HELD)])
    assert [each.lines for each in order.slates] == [
        ("A/R01", "4 frames missing: 100-103", "6 places"),
        ("B/R02", "4 frames missing: 3-6", "4 places"),
    ]


def test_a_dissolve_mixes_what_goes_on_with_what_comes_and_a_title_stands_as_a_slate():
    cut = CutList(
        Fraction(24),
        (
            Event(A, 0, 4, Fraction(24)),
            Event(B, 50, 6, Fraction(24), dissolve=3),
            Event(SLATE, 0, 2, Fraction(24), title="MIDNIGHT"),
        ),
    )
    order = movie_order(cut, [Strip(reel="A/R01", held=HELD), Strip(reel="B/R02", held=HELD)])
    assert order.shots[3:8] == (
        Shot(0, 3), Shot(0, 4, 1, 50, 0.25), Shot(0, 5, 1, 51, 0.5), Shot(0, 6, 1, 52, 0.75), Shot(1, 53),
    )  # fmt: skip
    assert len(order.shots) == cut.length() == 12
    assert order.slates[order.shots[-1].slate] == Slate(kind="title", lines=("MIDNIGHT",))


def test_a_hole_that_a_list_leaves_is_slated():
    cut = CutList(Fraction(24), (Event(A, 0, 2, Fraction(24)), Event(A, 9, 2, Fraction(24), at=5)))
    order = movie_order(cut, [Strip(reel="A/R01", held=HELD)])
    assert [shot.slate for shot in order.shots] == [-1, -1, 0, 0, 0, -1, -1]
    assert order.slates[0].lines == ("a hole in the list", "3 places")
