"""A site's calendar, read back by PyPI `icalendar`; what RFC 5545 lets a reader count on is looked at in the bytes."""

import sys
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from relay.errors import RefusedError
from relay.forecast.feed import feed_of, write_feeds
from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, forecast
from relay.shifts.zones import minute_of
from tests.unit.forecast.scene import START, House, film
from tests.unit.forecast.test_outlook import at, ground, planned, steps


def events(found: Forecast, site: str, kind: str) -> list[Any]:
    calendar = Calendar.from_ical(feed_of(found, site).to_ical())
    return [event for event in calendar.walk("VEVENT") if kind in event["categories"].to_ical().decode()]


def test_the_shifts_of_four_weeks_are_those_of_the_calendar():
    found = planned(ground())
    shifts = [(event.decoded("dtstart"), event.decoded("dtend")) for event in events(found, "kolkata", "shift")]
    zero = minute_of(START)
    windows = found.ground.calendars["kolkata"].windows(zero, zero + 28 * 1440)
    assert [(minute_of(begins), minute_of(ends)) for begins, ends in shifts] == windows
    assert shifts[1] == (at(5, 4, 30), at(5, 12, 30))


def test_what_is_expected_is_there_with_where_it_comes_from():
    found = planned(ground())
    arrivals = {str(event["summary"]): event.decoded("dtstart") for event in events(found, "kolkata", "arrival")}
    assert arrivals == {
        "scan of A/R01 lands, from halifax": at(6, 3, 20),
        "scan of A/R02 lands, from halifax": at(5, 19, 40),
    }
    assert events(found, "lisbon", "arrival") == []


def test_what_goes_from_hand_to_hand_in_one_house_is_expected_by_nobody():
    shrink = {"name": "copy", "after": ["scan"], "rate": 8000, "command": ["shrink", "{input}", "{output}"]}
    house = House.of(
        film(
            stage=[{"name": "scan", "rate": 2000}, shrink],
            site__lisbon={"stages": []},
            site__kolkata={"stages": []},
            site__halifax={"stages": ["scan", "copy"]},
        )
    )
    found = forecast(Ground.of(house.state, house.clock), steps())
    assert len(events(found, "halifax", "work")) == 4
    assert events(found, "halifax", "arrival") == []


def editing() -> Forecast:
    """Return a plan in which Lisbon's evening is handed on to Kolkata's morning.

    24,000 frames at 2,000 an hour are 12 hours. Lisbon alone: Monday 08:00-16:00 and Tuesday until noon. Handed on:
    Kolkata reads for 20 minutes on Tuesday from 04:30 and is done at 08:50.
    """
    route = [{"name": "edit", "of": ["P/R01"], "rate": 2000, "may_move": True, "hand_over": 20}]
    house = House.of(
        film(
            stage=route,
            site__lisbon={"stages": ["edit"], "line": 100_000},
            site__halifax={"stages": [], "hands": {}, "rates": {}},
            site__kolkata={"stages": ["edit"], "line": 100_000},
        )
    )
    house.claims("edit/P/R01", "lisbon")
    return forecast(Ground.of(house.state, house.clock), steps())


def test_a_hand_over_stands_in_the_calendars_of_both_sites():
    found = editing()
    assert found.finish == at(5, 8, 50)
    for site in ("lisbon", "kolkata"):
        (event,) = events(found, site, "hand-over")
        assert str(event["summary"]) == "edit of P/R01: lisbon hands on to kolkata"
        assert event.decoded("dtstart") == at(4, 16)
    assert events(found, "halifax", "hand-over") == []


def test_the_bytes_are_what_rfc_5545_asks_for():
    body = feed_of(planned(ground()), "kolkata").to_ical()
    lines = body.split(b"\r\n")
    assert (lines[0], lines[-2], lines[-1]) == (b"BEGIN:VCALENDAR", b"END:VCALENDAR", b"")
    assert b"\n" not in body.replace(b"\r\n", b""), "3.1: lines end with CRLF"
    assert max(map(len, lines)) <= 75, "3.1: lines are folded at 75 octets"
    assert b"VERSION:2.0" in lines
    assert any(line.startswith(b"PRODID:") for line in lines)
    for event in Calendar.from_ical(body).walk("VEVENT"):
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND"} <= set(event), "3.6.1"
        assert event.decoded("dtend") > event.decoded("dtstart"), "3.8.2.2"


def test_an_event_keeps_its_name_and_shares_it_with_no_other():
    found = planned(ground())
    names = [str(event["uid"]) for event in feed_of(found, "kolkata").walk("VEVENT")]
    assert len(set(names)) == len(names)
    assert names == [str(event["uid"]) for event in feed_of(planned(ground()), "kolkata").walk("VEVENT")]


def test_each_site_has_a_file_and_a_folder_that_cannot_be_written_is_told(tmp_path: Path):
    found = planned(ground())
    assert [path.name for path in write_feeds(found, tmp_path / "new")] == [
        *("oslo.ics", "lisbon.ics", "halifax.ics", "kolkata.ics")
    ]
    assert sorted(path.suffix for path in (tmp_path / "new").iterdir()) == [".ics"] * 4, "nothing half-written is left"
    (tmp_path / "file").write_text("")
    with pytest.raises(RefusedError, match="Name another folder"):
        write_feeds(found, tmp_path / "file")


def test_a_machine_without_the_library_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch):
    found = planned(ground())
    monkeypatch.setitem(sys.modules, "icalendar", None)
    with pytest.raises(RefusedError, match=r"pip install 'relay-handoff\[planning\]'"):
        feed_of(found, "kolkata")
