"""Numbers, sizes, times and ranges of frames as people say and type them, on a terminal and on a page. Pure."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from relay.errors import RefusedError
from relay.model import FrameRange, Place

_RANGE = re.compile(r"(-?[0-9]{1,8})(?:-(-?[0-9]{1,8}))?")

MINUTE, HOUR, DAY = 60, 3600, 86_400


def count(number: int, one: str, many: str | None = None) -> str:
    """Return `number` with its noun."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def bytes_in_words(size: int) -> str:
    """Return a number of bytes as people say it."""
    amount, unit = float(size), "bytes"
    for larger in ("kB", "MB", "GB", "TB"):
        if amount < 1000:
            break
        amount, unit = amount / 1000, larger
    return count(size, "byte") if unit == "bytes" else f"{amount:.1f} {unit}"


def span_in_words(span: timedelta) -> str:
    """Return how long `span` is, as exactly as anybody would say it: seconds, minutes, hours and minutes, or days."""
    seconds = abs(int(span.total_seconds()))
    if seconds < MINUTE:
        return count(seconds, "second")
    if seconds < HOUR:
        return f"{seconds // MINUTE} min"
    if seconds < 2 * DAY:
        hours, minutes = seconds // HOUR, seconds % HOUR // MINUTE
        return f"{hours} h {minutes} min" if minutes and hours < 10 else f"{hours} h"
    return count(seconds // DAY, "day")


def in_words(frames: Sequence[FrameRange], most: int = 12) -> str:
    """Return ranges of frames as people write them; the last ones counted where there are many."""
    shown = ", ".join(_range(each) for each in frames[:most])
    return shown + (f" and {len(frames) - most} more ranges" if len(frames) > most else "") if frames else "none"


def all_in_words(frames: Sequence[FrameRange]) -> str:
    """Return ranges of frames as people write them, every one."""
    return in_words(frames, len(frames))


def _range(frames: FrameRange) -> str:
    return f"{frames.first} to {frames.last}" if frames.first < 0 and frames.first < frames.last else str(frames)


def printable(text: str) -> str:
    """Return `text` with whatever could move, colour or turn round a terminal's line written out."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter == "\n" else _written_out(letter) for letter in text)


def _written_out(letter: str) -> str:
    return letter.encode("unicode_escape").decode()


def parse_frames(text: str) -> tuple[FrameRange, ...]:
    """Return the ranges that `10-20,35` means. Raises RefusedError."""
    ranges = []
    for part in text.split(","):
        found = _RANGE.fullmatch(part.strip())
        if not found:
            raise RefusedError(f"{part.strip()!r} is no range of frames: write them like 10-20,35")
        first, last = int(found[1]), int(found[2] or found[1])
        if last < first:
            raise RefusedError(f"frames {first} to {last} run backwards: write the smaller number first")
        ranges.append(FrameRange(first=first, last=last))
    return tuple(ranges)


def parse_place(text: str) -> Place:
    """Return the place that `A`, `A/R03`, `A/R03:120-180` or `programme:2400-2700` means. Raises RefusedError."""
    about, colon, frames = text.strip().partition(":")
    try:
        return Place(about=about, frames=parse_frames(frames) if colon else ())
    except ValueError as error:  # pydantic's, too
        raise RefusedError(
            f"{text!r} is no place: expected an element (A), a reel (A/R03), frames of it (A/R03:120-180), or "
            "`programme`, or a shot of it (programme:2400-2700)"
        ) from error


def parse_moment(text: str, zone: str) -> datetime:
    """Return the instant that a person whose clock shows `zone` means by `2027-01-09T17:00`. Raises RefusedError."""
    try:
        meant = datetime.fromisoformat(text)
        meant = meant if meant.tzinfo else meant.replace(tzinfo=ZoneInfo(zone))
        return meant.astimezone(UTC).replace(microsecond=0)
    except (ValueError, OverflowError) as error:
        raise RefusedError(f"{text!r} is no time: write it like 2027-01-09T17:00, in this site's own time") from error
