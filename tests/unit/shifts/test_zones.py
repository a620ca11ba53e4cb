"""Time zones against published instants of change; the source of each row is PyPI `tzdata` 2026f, computed."""

import zoneinfo
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path

import pytest
import tzdata

from relay.shifts.zones import instant_of, local_of, minute_of, minute_shown, tz_release, zone_named
from tests.unit.shifts.scene import utc

CHANGES = [
    ("Europe/Berlin", "2026-03-29T01:00Z", 60),
    ("Europe/Berlin", "2026-10-25T01:00Z", -60),
    ("Europe/London", "2026-03-29T01:00Z", 60),
    ("Europe/London", "2026-10-25T01:00Z", -60),
    ("America/New_York", "2026-03-08T07:00Z", 60),
    ("America/New_York", "2026-11-01T06:00Z", -60),
    ("Pacific/Auckland", "2026-04-04T14:00Z", -60),
    ("Pacific/Auckland", "2026-09-26T14:00Z", 60),
    ("Australia/Lord_Howe", "2026-04-04T15:00Z", -30),
]
"""Zone, the instant at which its clocks change, and by how many minutes. Source: PyPI tzdata 2026f, computed."""


@pytest.mark.parametrize(("name", "instant", "by"), CHANGES)
def test_clocks_change_at_the_published_instant(name: str, instant: str, by: int) -> None:
    zone, minute = zone_named(name), utc(instant)
    assert local_of(minute, zone) - local_of(minute - 1, zone) == timedelta(minutes=1 + by)


@pytest.mark.parametrize(("name", "hours"), [("Asia/Kolkata", 5.5), ("Asia/Tokyo", 9.0)])
def test_zones_without_summer_time_keep_their_distance_all_year(name: str, hours: float) -> None:
    zone = zone_named(name)
    days = range(utc("2026-01-01T00:00Z"), utc("2027-01-01T00:00Z"), 1440)
    assert {local_of(day, zone) - instant_of(day).replace(tzinfo=None) for day in days} == {timedelta(hours=hours)}


def test_lord_howe_goes_from_eleven_hours_to_ten_and_a_half() -> None:
    zone, minute = zone_named("Australia/Lord_Howe"), utc("2026-04-04T15:00Z")
    assert local_of(minute - 1, zone) == datetime(2026, 4, 5, 1, 59)
    assert local_of(minute, zone) == datetime(2026, 4, 5, 1, 30)


def test_berlin_and_new_york_are_five_hours_apart_in_the_weeks_between_their_changes() -> None:
    berlin, york = zone_named("Europe/Berlin"), zone_named("America/New_York")
    noons = range(utc("2026-01-01T12:00Z"), utc("2027-01-01T12:00Z"), 1440)
    nearer = [
        f"{instant_of(noon):%m-%d}"
        for noon in noons
        if local_of(noon, berlin) - local_of(noon, york) == timedelta(hours=5)
    ]
    # 8 to 29 March and 25 October to 1 November, changes at night: at noon of the last day the other has changed too.
    assert nearer == [*(f"03-{day:02d}" for day in range(8, 29)), *(f"10-{day}" for day in range(25, 32))]
    assert local_of(noons[0], berlin) - local_of(noons[0], york) == timedelta(hours=6)


def test_samoa_had_no_thirtieth_of_december_2011() -> None:
    zone = zone_named("Pacific/Apia")
    jump = utc("2011-12-30T10:00Z")
    assert local_of(jump - 1, zone) == datetime(2011, 12, 29, 23, 59)
    assert local_of(jump, zone) == datetime(2011, 12, 31)
    for hour in (0, 9, 23):
        assert minute_shown(datetime(2011, 12, 30, hour), zone) == jump


def test_a_time_that_is_skipped_means_the_moment_of_the_jump() -> None:
    zone = zone_named("Europe/Berlin")
    jump = utc("2026-03-29T01:00Z")
    shown = [minute_shown(datetime(2026, 3, 29, 2, minute), zone) for minute in (0, 1, 30, 59)]
    assert shown == [jump] * 4
    assert minute_shown(datetime(2026, 3, 29, 1, 59), zone) == jump - 1
    assert minute_shown(datetime(2026, 3, 29, 3, 1), zone) == jump + 1


def test_a_time_that_comes_twice_means_the_first() -> None:
    """RFC 5545, 3.3.5: "If the local time described occurs more than once [...] the DATE-TIME value refers to the first
    occurrence of the referenced time."."""
    zone = zone_named("Europe/Berlin")
    assert minute_shown(datetime(2026, 10, 25, 2, 30), zone) == utc("2026-10-25T00:30Z")
    assert minute_shown(datetime(2026, 10, 25, 3, 0), zone) == utc("2026-10-25T02:00Z")


def test_zones_come_from_the_wheel_whose_release_is_named(tmp_path: Path) -> None:
    assert tz_release() == tzdata.IANA_VERSION
    before = zoneinfo.TZPATH
    (tmp_path / "Asia").mkdir()
    (tmp_path / "Asia" / "Kolkata").write_bytes(resources.files("tzdata.zoneinfo").joinpath("UTC").read_bytes())
    for own in ([], [str(tmp_path)]):  # a machine without a database of its own, and one with another release
        zoneinfo.reset_tzpath(to=own)
        zone_named.cache_clear()
        zoneinfo.ZoneInfo.clear_cache()
        try:
            assert local_of(0, zone_named("Asia/Kolkata")) == datetime(1970, 1, 1, 5, 30)
        finally:
            zoneinfo.reset_tzpath(to=before)


@pytest.mark.parametrize("name", ["Mars/Olympus", "../zoneinfo/Europe/../../__init__.py", "Europe"])
def test_what_is_no_zone_is_refused_by_name(name: str) -> None:
    with pytest.raises(ValueError, match="is no time zone of release"):
        zone_named(name)


def test_minutes_and_instants_turn_into_each_other() -> None:
    for minute in (0, 1, 29_999_999, utc("2026-10-25T01:00Z")):
        assert minute_of(instant_of(minute)) == minute
