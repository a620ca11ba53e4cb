"""Which frame is shown, by the picture: graded film is told from displaced film."""

from fractions import Fraction

import numpy as np
import pytest

from relay.media.thumbnails import GreyReel
from relay.programme.cutlist import CutList, Event, Shown
from relay.programme.matching import match, runs, sureness
from tests.unit.programme.scene import A, B, film, returned

SOURCES = {A: film(100, 1), B: film(60, 2)}
LIST = CutList(
    Fraction(24), (Event(A, 4, 60, Fraction(16)), Event(B, 10, 40, Fraction(24)), Event(A, 60, 40, Fraction(18)))
)
WANTED = list(LIST.shown())


def test_a_graded_programme_shows_what_the_list_says():
    found = match(WANTED, returned(WANTED, SOURCES), SOURCES)
    assert found.compared == len(WANTED)
    assert found.matches == ()
    assert found.unlike == ()


def test_a_lost_frame_moves_all_that_follows_and_is_found_where_it_lies():
    lost = [*WANTED[:30], *WANTED[31:]]
    found = match(WANTED, returned(lost, SOURCES), SOURCES)
    places = {each.place for each in found.matches}
    assert {place for place in range(len(lost)) if lost[place] != WANTED[place]} - places <= {30, 31}
    assert min(places) in {30, 31, 32}
    assert all(sureness(run) > 0.9 for run in runs(found.matches) if len(run) > 2)
    assert {each.place: each.found for each in found.matches}[80] == WANTED[81]


def test_a_shot_that_slipped_by_a_frame_is_found_and_its_neighbours_are_left_alone():
    slipped = [Shown(row.reel, row.frame + 1) if 60 <= place < 100 else row for place, row in enumerate(WANTED)]
    found = match(WANTED, returned(slipped, SOURCES), SOURCES)
    assert [each.place for each in found.matches] == list(range(60, 100))
    assert {each.found for each in found.matches} == set(slipped[60:100])


def test_a_picture_of_another_reel_is_told_to_be_like_nothing_around():
    other = film(10, 77)
    came = returned(WANTED, SOURCES)
    grey = came.grey.copy()
    grey[70:75] = other.grey[:5]
    found = match(WANTED, GreyReel(came.numbers, grey), SOURCES)
    assert set(range(70, 75)) <= set(found.unlike) | {each.place for each in found.matches}


def test_film_on_which_nothing_moves_raises_no_alarm_and_is_told_to_be_unsure():
    still = GreyReel(np.arange(100), np.repeat(SOURCES[A].grey[:1], 100, axis=0))
    shown = [Shown(A, frame) for frame in range(20, 80)]
    swapped = list(reversed(shown))
    found = match(shown, returned(swapped, {A: still}), {A: still})
    assert found.matches == ()
    assert found.unsure == 60


def test_thumbnails_of_half_the_size_serve_as_well():
    half = GreyReel(SOURCES[A].numbers, SOURCES[A].grey.reshape(100, 24, 2, 32, 2).mean(axis=(2, 4)).astype(np.uint8))
    slipped = [Shown(A, frame + 2) for frame in range(40)]
    found = match([Shown(A, frame) for frame in range(40)], returned(slipped, SOURCES), {A: half})
    assert [each.found.frame - each.place for each in found.matches] == [2] * 40


@pytest.mark.parametrize("sources", [{}, {B: SOURCES[B]}])
def test_what_has_no_thumbnail_of_its_source_is_not_compared(sources: dict):
    wanted = WANTED[:20]
    assert match(wanted, returned(wanted, SOURCES), sources).compared == 0
