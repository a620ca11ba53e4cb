"""Time zones out of the `tzdata` wheel alone, so that every machine reckons with one release and can name it."""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from importlib import resources
from zoneinfo import ZoneInfo

import tzdata  # type: ignore[import-untyped]  # data with one string beside it: no types are published

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)
_LONGEST_JUMP = 2 * 24 * 60
"""Minutes. Zones that crossed the date line left out a whole day."""


def tz_release() -> str:
    """Return the release of the IANA time zone database that is reckoned with, such as 2026a."""
    return str(tzdata.IANA_VERSION)


@lru_cache(maxsize=64)
def zone_named(name: str) -> ZoneInfo:
    """Return the zone. Raises ValueError where the release has none of that name.

    `ZoneInfo(name)` would take the operating system's own copy first, whichever release that is.
    """
    try:
        with resources.files("tzdata.zoneinfo").joinpath(name).open("rb") as file:
            return ZoneInfo.from_file(file, key=name)
    except (OSError, ValueError) as error:
        raise ValueError(f"{name!r} is no time zone of release {tz_release()}: expected an IANA name") from error


def minute_of(instant: datetime) -> int:
    """Return the whole minutes from 1970-01-01 UTC to `instant`, rounded down."""
    return (instant - EPOCH) // _MINUTE


def instant_of(minute: int) -> datetime:
    """Return the instant that lies `minute` minutes after 1970-01-01 UTC."""
    return EPOCH + minute * _MINUTE


def local_of(minute: int, zone: ZoneInfo) -> datetime:
    """Return what the clock on a wall in `zone` shows at `minute`, without an offset."""
    return instant_of(minute).astimezone(zone).replace(tzinfo=None)


def minute_shown(local: datetime, zone: ZoneInfo) -> int:
    """Return the first minute at which a clock in `zone` shows `local` or a later time.

    So a time that comes twice means the first of the two (as in RFC 5545, 3.3.5), and one that is skipped means the
    moment at which the clock jumps over it: a shift never begins after it has ended, and is never longer than the time
    that the clock showed.
    """
    found = minute_of(local.replace(tzinfo=zone))
    if local_of(found, zone) == local:
        return found
    return _jump(local, zone, found)


def _jump(local: datetime, zone: ZoneInfo, late: int) -> int:
    """Return the first minute whose local time is not before `local`; it lies at or before `late`."""
    early = late - _LONGEST_JUMP
    while early < late:
        middle = (early + late) // 2
        if local_of(middle, zone) >= local:
            late = middle
        else:
            early = middle + 1
    return late
