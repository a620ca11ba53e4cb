"""Speeds: frames a second as exact fractions, how they are written, and the running times that follow from them."""

import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from relay.film.gauges import Gauge

SAMPLES_PER_SECOND = 48_000

ARCHIVE_RATES: Mapping[int, Fraction] = MappingProxyType(
    {16: Fraction(16), 18: Fraction(200, 11), 20: Fraction(20), 22: Fraction(240, 11)}
)
"""The rates of SMPTE ST 428-21 under the names people use; each gives whole samples a frame at 48 kHz."""

SLOWEST, FASTEST = Fraction(1), Fraction(120)

_OFTEN_ROUNDED = (Fraction(24000, 1001), Fraction(30000, 1001), ARCHIVE_RATES[18], ARCHIVE_RATES[22])
_TOO_NEAR = Fraction(1, 100)
_UNIT = re.compile(r"\s*(fps|frames/s)$")
_ARCHIVE = re.compile(r"([0-9]{1,3})\s*\(?archive\)?")
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]{1,3})\s+)?(?P<over>[0-9]{1,6})/(?P<under>[0-9]{1,6})")
_DECIMAL = re.compile(r"[0-9]{1,3}(?:\.(?P<places>[0-9]{1,9}))?")
_TIME = re.compile(
    r"(?:(?:(?P<hours>[0-9]{1,3}):)?(?P<minutes>[0-9]{1,3}):(?=[0-5][0-9](?:\.|$)))?(?P<seconds>[0-9]{1,6}(?:\.[0-9]{1,9})?)"
)


def parse_rate(text: str) -> Fraction:
    """Return frames a second from `18`, `24000/1001`, `16 2/3`, `23.976` or `18 (archive)`. Raises ValueError.

    A decimal of two places or more that is the rounding of 24000/1001, 30000/1001, an archive rate or a third means
    that rate. One that only comes near is refused, for it would drift by frames within a reel. A fraction always
    means itself.
    """
    written = _UNIT.sub("", text.strip().casefold())
    if archive := _ARCHIVE.fullmatch(written):
        return _archive_rate(int(archive[1]))
    rate = _fraction(written) if "/" in written else _decimal(written)
    if rate is None:
        raise ValueError(f"{text!r} is not a rate: write it like 18, 24000/1001, 16 2/3, 23.976 or 18 (archive)")
    if not SLOWEST <= rate <= FASTEST:
        raise ValueError(f"{text!r} is out of range: expected {SLOWEST} to {FASTEST} frames a second")
    return rate


def _archive_rate(name: int) -> Fraction:
    try:
        return ARCHIVE_RATES[name]
    except KeyError:
        known = ", ".join(str(rate) for rate in ARCHIVE_RATES)
        raise ValueError(f"{name} is not an archive rate: expected one of {known}") from None


def _fraction(written: str) -> Fraction | None:
    found = _FRACTION.fullmatch(written)
    if found is None or int(found["under"]) == 0:
        return None
    part = Fraction(int(found["over"]), int(found["under"]))
    if found["whole"] is None:
        return part
    return int(found["whole"]) + part if part < 1 else None


def _decimal(written: str) -> Fraction | None:
    found = _DECIMAL.fullmatch(written)
    if found is None:
        return None
    exact, places = Fraction(written), len(found["places"] or "")
    for meant in (*_OFTEN_ROUNDED, Fraction(round(exact * 3), 3)):
        if places > 1 and round(meant, places) == exact:
            return meant
        if exact != meant and abs(exact - meant) < _TOO_NEAR:
            raise ValueError(
                f"{written} is near {meant} but no rounding of it: write {meant}, or {exact} if that is meant"
            )
    return exact


def format_rate(rate: Fraction) -> str:
    """Return `rate` in the shortest form that `parse_rate` reads back exactly."""
    for name, archive_rate in ARCHIVE_RATES.items():
        if rate == archive_rate != name:
            return f"{name} (archive)"
    return str(rate)


def feet_per_minute(rate: Fraction, gauge: Gauge) -> Fraction:
    """Return how many feet of `gauge` run through in a minute."""
    return rate * 60 / gauge.frames_per_foot


def rate_at(feet_a_minute: Fraction | int, gauge: Gauge) -> Fraction:
    """Return the frames a second at which `feet_a_minute` of `gauge` run through."""
    return feet_a_minute * gauge.frames_per_foot / 60


def samples_per_frame(rate: Fraction, samples_per_second: int = SAMPLES_PER_SECOND) -> Fraction:
    """Return how many sound samples last as long as one frame; not whole for every rate."""
    return samples_per_second / rate


def running_time(frames: int, rate: Fraction) -> Fraction:
    """Return how many seconds `frames` last."""
    return frames / rate


def frames_in_time(seconds: Fraction | int, rate: Fraction) -> Fraction:
    """Return how many frames last `seconds`."""
    return seconds * rate


def format_running_time(seconds: Fraction) -> str:
    """Return `seconds` like 14:48.889 or, from an hour on, 1:14:04.444: to the millisecond, shown where it is not 0."""
    rounded = round(seconds * 1000)
    whole, thousandths = divmod(abs(rounded), 1000)
    minutes, left = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    shown = f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"
    return f"{'-' if rounded < 0 else ''}{shown}{f'.{thousandths:03d}' if thousandths else ''}"


def parse_running_time(text: str) -> Fraction:
    """Return seconds from `14:48.889`, `1:14:04.444` or `62.5`. Raises ValueError."""
    found = _TIME.fullmatch(text.strip())
    if found is None or (found["hours"] and int(found["minutes"]) > 59):
        raise ValueError(f"{text!r} is not a running time: write it like 62.5, 14:48.889 or 1:14:04.444")
    whole = int(found["hours"] or 0) * 3600 + int(found["minutes"] or 0) * 60
    return whole + Fraction(found["seconds"])
