"""Under a dissolve a place is held against both of its frames."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from relay.media.thumbnails import COLUMNS, ROWS, GreyReel
from relay.model import digest_of
from relay.programme.conforming import conformed, mixed_places
from relay.programme.cutlist import SLATE, CutList, Event, Shown
from relay.programme.matching import match
from relay.programme.mixing import match_mixtures
from tests.unit.programme.scene import A, B, film

RATE = Fraction(24)
SOURCES = {A: film(40, 1), B: film(40, 2)}
OVER = 12
DISSOLVE = CutList(RATE, (Event(A, 4, 18, RATE), Event(B, 6, 24, RATE, dissolve=OVER)))
WIPE = CutList(RATE, (DISSOLVE.events[0], replace(DISSOLVE.events[1], wipe=1)))


def came(cut: CutList, gone_by: int = 0, comes_by: int = 0) -> GreyReel:
    """Lay out what a lab makes of the list: dissolves mix evenly; wipes run from the left to the right."""
    grey = np.stack([_picture(None if shown.reel == SLATE else shown) for shown in cut.shown()])
    for begins, event in cut.laid():
        for step, shown in enumerate(list(event.shown(RATE))[: event.dissolve]):
            place, share = begins + step, (step + 1) / (event.dissolve + 1)
            gone = cut.going().get(place)
            one = _picture(gone and Shown(gone.reel, gone.frame + gone_by))
            other = _picture(None if event.is_slate else Shown(shown.reel, shown.frame + comes_by))
            if event.wipe is None:
                grey[place] = one * (1 - share) + other * share
            else:
                edge = round(share * one.shape[1])
                grey[place] = np.concatenate([other[:, :edge], one[:, edge:]], axis=1)
    grey += np.random.default_rng(3).normal(0, 2, grey.shape)
    return GreyReel(np.arange(len(grey)), np.clip(grey, 0, 255).astype(np.uint8))


def _picture(shown: Shown | None) -> np.ndarray:
    """Return it graded: print A darker, print B flatter; and black where there is none."""
    if shown is None:
        return np.full((ROWS, COLUMNS), 12.0)
    tones = SOURCES[shown.reel].grey[shown.frame].astype(np.float64)
    return (tones / 255) ** 1.4 * 230 if shown.reel == A else tones * 0.7 + 40


@pytest.mark.parametrize("cut", [DISSOLVE, WIPE])
def test_a_dissolve_or_a_wipe_of_the_right_frames_raises_no_alarm(cut: CutList):
    found = match_mixtures(cut, came(cut), SOURCES)
    assert (found.compared, found.unlike, found.slips) == (OVER, (), ())


@pytest.mark.parametrize("cut", [DISSOLVE, WIPE])
@pytest.mark.parametrize(("gone_by", "comes_by"), [(3, 0), (0, -3), (-4, 3)])
def test_each_shot_that_slipped_under_it_is_named_with_both_frames(cut: CutList, gone_by: int, comes_by: int):
    found = match_mixtures(cut, came(cut, gone_by, comes_by), SOURCES)
    wanted = [
        (each, Shown(each.reel, each.frame + by))
        for each, by in ((Shown(A, 22), gone_by), (Shown(B, 6), comes_by))
        if by
    ]
    assert [(each.expected, each.found) for each in found.slips] == wanted
    assert {each.places for each in found.slips} == {(18, 29)}


def test_what_slipped_under_a_dissolve_blocks_though_every_number_is_right():
    wanted, mixed = list(DISSOLVE.shown()), mixed_places(DISSOLVE)
    shown = came(DISSOLVE, comes_by=4)
    pictures = match(wanted, shown, SOURCES, mixed)
    positions = {place: row.frame for place, row in enumerate(wanted)}
    mixtures = match_mixtures(DISSOLVE, shown, SOURCES, pictures.price)
    report = conformed(wanted, positions, pictures, digest_of(b"list"), None, mixed, DISSOLVE.going(), mixtures)
    (run,) = report.displaced
    assert (str(run.places), run.reel, run.first, run.shows_first, run.by) == ("18-29", B, 6, 10, "picture")
    assert run.blocks
    assert (report.compared, report.mixed) == (len(wanted), OVER)


def test_another_picture_under_a_dissolve_is_told_to_be_like_nothing_around():
    shown = came(DISSOLVE)
    grey = shown.grey.copy()
    grey[22:25] = film(3, 55).grey
    assert set(match_mixtures(DISSOLVE, GreyReel(shown.numbers, grey), SOURCES).unlike) <= {22, 23, 24} != set()


def test_a_fade_is_held_where_there_is_more_picture_than_black():
    """From black over 12 places, and to a title over 12."""
    cut = CutList(
        RATE,
        (Event(A, 1, 20, RATE, dissolve=OVER, fades=True), Event(SLATE, 0, 24, RATE, dissolve=OVER, title="MIDNIGHT")),
    )
    right = match_mixtures(cut, came(cut), SOURCES)
    assert (right.compared, right.unlike, right.slips) == (12, (), ())
    (slip,) = match_mixtures(cut, came(cut, gone_by=4), SOURCES).slips
    assert (slip.places, slip.expected, slip.found) == ((20, 25), Shown(A, 21), Shown(A, 25))


@pytest.mark.parametrize("sources", [{}, {A: SOURCES[A]}, {B: SOURCES[B]}])
def test_a_dissolve_one_of_whose_sources_has_no_thumbnail_is_not_compared(sources: dict):
    assert match_mixtures(DISSOLVE, came(DISSOLVE), sources).compared == 0
