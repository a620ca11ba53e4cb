"""Who is awake at one instant, and what they hold: instants by hand, from the zones' offsets in January."""

from datetime import UTC, datetime, timedelta

from relay.cli.bands import band, bar, first_minute, local_ruler, ruler
from relay.cli.who import awake_in_words
from relay.forecast.awake import Presence, presences
from relay.forecast.ground import Ground
from relay.shifts.zones import minute_of
from tests.unit.forecast.scene import START, House, film
from tests.unit.ledger.job_scene import receipt
from tests.unit.shifts.scene import calendar, shift, utc


def told(house: House, now: datetime) -> dict[str, tuple[Presence, str]]:
    ground = Ground.of(house.state, now)
    return {site.site: (site, awake_in_words(ground, site)) for site in presences(ground)}


def test_each_site_is_awake_by_its_own_clock():
    found = told(House.of(film()), START)  # Monday 08:00 UTC
    assert {name: said for name, (_, said) in found.items()} == {
        "oslo": "awake until 17:00",
        "lisbon": "awake until 16:00",
        "halifax": "asleep until 08:00",
        "kolkata": "awake until 18:00",
    }
    assert found["kolkata"][0].turns == datetime(2027, 1, 4, 12, 30, tzinfo=UTC)
    assert found["halifax"][0].local == datetime(2027, 1, 4, 4)


def test_a_site_sleeps_over_the_weekend_and_over_its_days_off():
    friday = datetime(2027, 1, 8, 18, tzinfo=UTC)
    assert told(House.of(film()), friday)["lisbon"][1] == "asleep until Mon 08:00"
    kept = House.of(film(site__lisbon={"closed": [{"from": "2027-01-08", "to": "2027-01-20", "why": "moving"}]}))
    assert told(kept, friday)["lisbon"][1] == "asleep until Thu 21 Jan 08:00 (moving)"


def test_a_site_keeps_the_public_holidays_of_its_country():
    # 25 December 2026, a Friday: Christmas Day in Portugal (fixed feast, memory).
    friday = datetime(2026, 12, 25, 10, tzinfo=UTC)
    house = House.of(film(site__lisbon={"holidays": {"country": "PT"}}))
    assert told(house, friday)["lisbon"][1] == "asleep until Mon 08:00 (Christmas Day)"
    assert told(house, friday)["oslo"][1] == "awake until 17:00", "whose file says nothing of holidays"


def test_a_site_that_closes_after_the_clocks_change_is_told_by_the_new_time():
    # 27 March 2027, the night before clocks go forward (rule: last Sunday in March, 01:00 UTC).
    nights = House.of(film(site__lisbon={"shift": [{"days": ["sat"], "from": "22:00", "to": "06:00"}]}))
    found, said = told(nights, datetime(2027, 3, 27, 23, tzinfo=UTC))["lisbon"]
    assert found.turns == datetime(2027, 3, 28, 5, tzinfo=UTC)
    assert said == "awake until Sun 06:00"


def test_a_site_without_end_and_one_without_beginning_are_told_as_such():
    always = [{"days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], "from": "00:00", "to": "00:00"}]
    closed = [{"from": "2027-01-01", "to": "2099-01-01"}]
    found = told(House.of(film(site__lisbon={"shift": always}, site__kolkata={"closed": closed})), START)
    assert found["lisbon"][1] == "awake, day and night"
    assert found["kolkata"][1] == "asleep, and no shift in sight (closed)"


def test_what_a_site_holds_is_offered_and_is_on_its_way_to_it():
    house = House.of(film())
    made = house.does("scan/A/R01", "halifax")
    house.says("oslo", receipt(made))
    house.opens()
    house.claims("scan/A/R02", "halifax")
    found = told(house, START)
    assert [job.job for job in found["halifax"][0].holds] == ["scan/A/R02/1"]
    asked = {name: [job.job for job in site.asked] for name, (site, _) in found.items() if site.asked}
    assert sorted(job for jobs in asked.values() for job in jobs) == ["copy/A/R01/1", "grade/A/R01/1"]
    for name, (site, _) in found.items():
        wanted = name in asked
        assert [each.version for each in site.coming] == ([made] if wanted else [])
        # 2,000 bytes: less than a minute by any line, told as one.
        assert [each.lands - START for each in site.coming] == ([timedelta(minutes=1)] if wanted else [])


def test_bands_show_each_half_hour_in_the_site_s_own_hours():
    start = first_minute(minute_of(START + timedelta(minutes=17)))
    assert start == minute_of(START), "from its half hour on"
    kept = calendar("Asia/Kolkata", shift("10:00", "18:15"))
    assert ruler(start) == "  09    12    15    18    21    00    03    06"
    assert band(kept, start) == "█" * 9 + "▒" + "·" * 31 + "█" * 7
    # 08:00 UTC is 13:30 in Kolkata: three in the afternoon comes three letters later.
    assert local_ruler(kept, start) == "   15    18    21    00    03    06    09    12"
    assert len(band(kept, start)) == 48


def test_a_band_has_an_hour_more_or_less_when_clocks_change():
    kept = calendar("Europe/Berlin", shift("22:00", "06:00"))
    assert band(kept, utc("2026-10-24T12:00Z")).count("█") == 18
    assert band(kept, utc("2026-03-28T12:00Z")).count("█") == 14


def test_a_bar_shows_work_and_what_lies_still_between():
    assert bar([(0, 10), (30, 40)], 0, 60, 6) == "━┄┄━"
    assert bar([(55, 56)], 0, 60, 6) == "     ━", "even a minute is shown"
    assert bar([], 0, 60, 6) == ""
