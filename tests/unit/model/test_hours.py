"""What a production's file may say about hours, and that the ledger says it back the same."""

import tomllib
from datetime import date, datetime, time

import pytest
from pydantic import ValidationError

from relay.ledger.entry import NO_ENTRY, read_entry, write_entry
from relay.ledger.words import ProductionCreated
from relay.model import Holidays, Production, Weekday
from relay.settings import first_fault
from tests.unit.ledger.scene import NOON, created, pen, production

HOURS = """
hands = { scan = 2 }
rates = { scan = 900 }
line = 200
holidays = { country = "CA", region = "NS" }

[[shift]]
from = "08:30"
to = 17:00:00

[[shift]]
days = ["sat"]
from = "22:00"
to = "06:00"

[[closed]]
from = 2026-08-03
to = 2026-08-07
why = "the house is painted"

[[closed]]
from = 2026-09-01T12:00:00
to = 2026-09-01T15:00:00

[[overtime]]
from = 2026-09-05T09:00:00
to = "2026-09-05T13:00"
"""


def with_hours(text: str = HOURS, **site: object) -> Production:
    film = production().model_dump(mode="json", by_alias=True, exclude_none=True)
    film["site"][1] |= tomllib.loads(text) | site
    return Production.model_validate(film)


def test_shifts_closures_and_overtime_are_read_as_they_are_written():
    site = with_hours().sites[1]

    assert (site.shifts[0].begins, site.shifts[0].ends, site.shifts[0].is_overnight) == (time(8, 30), time(17), False)
    assert site.shifts[0].days == tuple(Weekday)[:5], "weekdays, where nothing is said"
    assert site.shifts[1].is_overnight
    assert (site.closed[0].begins, site.closed[0].is_hours) == (date(2026, 8, 3), False)
    assert (site.closed[1].ends, site.closed[1].is_hours) == (datetime(2026, 9, 1, 15), True)
    assert site.overtime[0].ends == datetime(2026, 9, 5, 13)
    assert site.holidays == Holidays(country="CA", region="NS")
    assert (site.hands, site.rates, site.line) == ({"scan": 2}, {"scan": 900}, 200)


def test_a_ledger_says_back_what_the_file_said():
    film = with_hours()
    raw = write_entry(pen("root"), (created(film),), sequence=0, previous=NO_ENTRY, time=NOON, nonce="0" * 32)
    word = read_entry(raw, 0).body.words[0]

    assert isinstance(word, ProductionCreated)
    assert word.production == film


def test_an_older_file_that_says_nothing_of_hours_stays_valid():
    site = production().sites[1]
    assert (site.shifts, site.closed, site.overtime, site.hands, site.rates, site.line) == ((), (), (), {}, {}, None)


@pytest.mark.parametrize(
    ("line", "instead", "said"),
    [
        ('from = "08:30"', 'from = "25:00"', "shift 1, from"),
        ('from = "08:30"', 'from = "08:30:10"', "08:30:10 is not a whole minute"),
        ('from = "08:30"', 'from = "08:30+02:00"', "has an offset: write the site's own local time"),
        ('days = ["sat"]', 'days = ["saturday"]', "expected 'mon', 'tue'"),
        ('days = ["sat"]', "days = []", "expected at least one"),
        ("to = 2026-08-07", "to = 2026-08-01", "from 2026-08-03 to 2026-08-01 runs backwards"),
        ("to = 2026-08-07", "to = 2026-08-07T12:00:00", "give two days, or two local times"),
        ("to = 2026-09-01T15:00:00", "to = 2026-09-01T12:00:00", "runs backwards"),
        (
            'to = "2026-09-05T13:00"',
            'to = "2026-09-05T08:00"',
            "from 2026-09-05T09:00 to 2026-09-05T08:00 runs backwards",
        ),
        ('to = "2026-09-05T13:00"', 'to = "noon"', "overtime 1, to"),
        ('to = "2026-09-05T13:00"', "to = 7", "7 is no local time: expected one such as 2027-01-09T17:00:00"),
        ("to = 2026-08-07", "to = 7", "closed 1, to: 7 is no day: expected one such as 2027-01-09"),
        ('country = "CA"', 'country = "Canada"', "holidays, country"),
        ("hands = { scan = 2 }", "hands = { scan = 0 }", "hands, scan: expected greater than or equal to 1"),
        ("rates = { scan = 900 }", "rates = { grade = 900 }", "a rate or a price for 'grade', which it does not do"),
        ("line = 200", "line = 0", "line: expected greater than or equal to 1"),
    ],
)
def test_a_slip_in_the_hours_is_told_with_its_place(line: str, instead: str, said: str):
    assert line in HOURS
    with pytest.raises(ValidationError) as caught:
        with_hours(HOURS.replace(line, instead))
    assert said in first_fault(caught.value)


def test_a_print_can_only_be_lent_to_a_site_that_there_is():
    film = production().model_dump(mode="json", by_alias=True, exclude_none=True)
    film["element"][0]["loan"] |= {"lent_to": "porto", "arrives": "2026-08-01", "shipping_days": 5}
    with pytest.raises(ValidationError, match="element 'A' is lent to 'porto', which is none of the sites"):
        Production.model_validate(film)
    film["element"][0]["loan"]["lent_to"] = "halifax"
    loan = Production.model_validate(film).elements[0].loan
    assert loan is not None
    assert (loan.lent_to, loan.arrives, loan.shipping_days) == ("halifax", date(2026, 8, 1), 5)
