"""What can be supposed, and that nothing else about the production changes with it."""

import pytest

from relay.errors import RefusedError
from relay.forecast.ground import Ground
from relay.forecast.supposing import FORMS, supposed
from relay.shifts.zones import minute_of
from tests.unit.forecast.scene import START, House, film


@pytest.fixture
def ground() -> Ground:
    return Ground.of(House.of(film()).state, START)


def test_a_closed_site_has_no_shift_on_those_days(ground: Ground):
    then = supposed(ground, "kolkata closed 2027-01-05 to 2027-01-06")
    days = minute_of(START), minute_of(START) + 5 * 1440
    assert ground.calendars["kolkata"].worked(*days) - then.calendars["kolkata"].worked(*days) == 2 * 8 * 60
    assert then.calendars["lisbon"] == ground.calendars["lisbon"]
    assert ground.state.film() == film(), "the ledger is as it was"


def test_one_more_hand_is_one_more_person(ground: Ground):
    site = supposed(ground, "kolkata one more at grade").film.site("kolkata")
    assert site
    assert (site.hands["grade"], site.people) == (2, 3)


def test_a_print_comes_late(ground: Ground):
    loan = supposed(ground, "A arrives 2027-01-20").film.elements[0].loan
    assert loan
    assert (str(loan.arrives), loan.lent_to, str(loan.due_back)) == ("2027-01-20", "halifax", "2027-01-29")


def test_a_line_is_twice_as_fast(ground: Ground):
    then = supposed(ground, "halifax line 2")
    assert then.lines["halifax"].speed == 2 * ground.lines["halifax"].speed
    assert supposed(then, "halifax line 1.5").lines["halifax"].speed == 3 * ground.lines["halifax"].speed
    assert then.lines["kolkata"] == ground.lines["kolkata"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("porto closed 2027-01-05", "the production has no site porto: it has oslo, lisbon"),
        ("kolkata closed 2027-02-30", "'kolkata closed 2027-02-30' cannot be"),
        ("kolkata closed 2027-01-06 to 2027-01-05", "runs backwards"),
        ("kolkata one more at scan", "kolkata does not do scan: the production's file gives it grade, edit"),
        ("Z arrives 2027-01-06", "no element Z: it has A, P"),
        ("P arrives 2027-01-06", "P is not on loan"),
        ("A arrives 2027-01-06 at porto", "no site porto"),
        ("halifax line 0", "carries nothing"),
        ("it rains", "nothing to suppose here: write it like 'tokyo closed 2027-01-05'"),
    ],
)
def test_what_cannot_be_supposed_is_refused_with_what_can(ground: Ground, text: str, said: str):
    with pytest.raises(RefusedError, match=said):
        supposed(ground, text)


def test_every_form_that_is_shown_can_be_written():
    words = film(site__lisbon={"name": "tokyo"}, element__A={"code": "B"}, stage__edit={"of": ["P/R01"]})
    ground = Ground.of(House.of(words).state, START)
    for form in FORMS:
        assert supposed(ground, form) != ground
