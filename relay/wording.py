"""Numbers, sizes, spans of time and ranges of frames as people say them: the same on a terminal and on a page. Pure."""

from collections.abc import Sequence
from datetime import timedelta

from relay.model import FrameRange

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


def _range(frames: FrameRange) -> str:
    return f"{frames.first} to {frames.last}" if frames.first < 0 and frames.first < frames.last else str(frames)


def printable(text: str) -> str:
    """Return `text` with whatever could move, colour or turn round a terminal's line written out."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter == "\n" else _written_out(letter) for letter in text)


def _written_out(letter: str) -> str:
    return letter.encode("unicode_escape").decode()
