"""Public holidays against rules that are known apart from the library: Easter and fixed feasts."""

import sys
from datetime import date, timedelta

import pytest

from relay.errors import RefusedError
from relay.model import Holidays
from relay.shifts.public_holidays import holidays_of


def easter(year: int) -> date:
    """Return Easter Sunday. Source: the anonymous Gregorian computus (J. Meeus, Astronomical Algorithms; memory)."""
    a, (b, c) = year % 19, divmod(year, 100)
    (d, e), g = divmod(b, 4), (8 * b + 13) // 25
    h = (19 * a + b - d - g + 15) % 30
    i, k = divmod(c, 4)
    rest = (32 + 2 * e + 2 * i - h - k) % 7
    m = (a + 11 * h + 22 * rest) // 451
    month, day = divmod(h + rest - 7 * m + 114, 31)
    return date(year, month, day + 1)


@pytest.mark.parametrize("year", range(2024, 2032))
def test_good_friday_is_two_days_before_easter_in_portugal_and_nova_scotia(year: int) -> None:
    friday = easter(year) - timedelta(days=2)
    for keeps in (Holidays(country="PT"), Holidays(country="CA", region="NS")):
        assert holidays_of(keeps)(friday), f"{friday} in {keeps}"
        assert holidays_of(keeps)(friday - timedelta(days=1)) is None


@pytest.mark.parametrize(
    ("keeps", "day", "is_kept"),
    [
        # Fixed feasts: memory.
        (Holidays(country="PT"), date(2027, 4, 25), True),  # Freedom Day
        (Holidays(country="PT"), date(2027, 6, 10), True),  # Portugal Day
        (Holidays(country="JP"), date(2027, 5, 3), True),  # Constitution Day
        (Holidays(country="IN", region="WB"), date(2027, 1, 26), True),  # Republic Day
        (Holidays(country="CA"), date(2027, 7, 1), True),  # Canada Day
        # Heritage Day, the third Monday of February, is Nova Scotia's own (memory).
        (Holidays(country="CA", region="NS"), date(2027, 2, 15), True),
        (Holidays(country="CA"), date(2027, 2, 15), False),
        (Holidays(country="PT"), date(2027, 7, 1), False),
    ],
)
def test_a_region_keeps_its_own_days(keeps: Holidays, day: date, is_kept: bool) -> None:
    assert (holidays_of(keeps)(day) is not None) is is_kept


def test_holidays_are_named_in_english_where_the_list_can() -> None:
    assert holidays_of(Holidays(country="PT"))(date(2027, 12, 25)) == "Christmas Day"


def test_a_country_or_region_that_nobody_lists_is_refused_with_those_that_are() -> None:
    with pytest.raises(RefusedError, match="'XX' are not known: expected a country's code"):
        holidays_of(Holidays(country="XX"))
    with pytest.raises(RefusedError, match=r"region 'ZZ' of CA are not known: expected one of .*NS"):
        holidays_of(Holidays(country="CA", region="ZZ"))


def test_a_machine_without_the_list_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "holidays", None)
    holidays_of.cache_clear()
    with pytest.raises(RefusedError, match=r"pip install 'relay-handoff\[planning\]'"):
        holidays_of(Holidays(country="PT"))
