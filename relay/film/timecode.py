"""Timecode after SMPTE ST 12-1: labels for frames on a 24-hour clock, non-drop and drop-frame.

Labels count 24, 25 or 30 to the second. At 30000/1001 frames a second that clock loses 3.6 s an hour, so drop-frame
skips the labels ;00 and ;01 of each minute except every tenth. Labels are skipped, never frames.
Why not a library: docs/decisions/timecode.md.
"""

import re
from fractions import Fraction

DROP_RATE = Fraction(30000, 1001)
SKIPPED = 2  # labels a minute, except every tenth

_LABELS_PER_SECOND = {
    Fraction(24000, 1001): 24,
    Fraction(24): 24,
    Fraction(25): 25,
    DROP_RATE: 30,
    Fraction(30): 30,
}
_LABEL = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;])([0-9]{2})")


def format_timecode(frame: int, rate: Fraction, *, drop: bool = False) -> str:
    """Return the label of `frame`, counted from 00:00:00:00; drop-frame is written with a semicolon, like 00:01:00;02.

    Raises ValueError ahead of 0 or past 24 hours. A reel that begins at an hour has room for its leader.
    """
    base = _labels_per_second(rate, drop=drop)
    label = _label_number(frame) if drop else frame
    if not 0 <= label < 24 * 3600 * base:
        raise ValueError(
            f"frame {frame} has no timecode at {rate} frames a second: expected one within 24 hours from 0"
        )
    seconds, frames = divmod(label, base)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{';' if drop else ':'}{frames:02d}"


def parse_timecode(text: str, rate: Fraction) -> int:
    """Return the frame, counted from 00:00:00:00, that a label means. Raises ValueError.

    A semicolon ahead of the frames makes it drop-frame.
    """
    found = _LABEL.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text!r} is not a timecode: expected hh:mm:ss:ff, or hh:mm:ss;ff for drop-frame")
    hours, minutes, seconds, frames = (int(found[group]) for group in (1, 2, 3, 5))
    drop = found[4] == ";"
    base = _labels_per_second(rate, drop=drop)
    if hours > 23 or minutes > 59 or seconds > 59 or frames >= base:
        raise ValueError(f"{text!r} is not a timecode: expected at most 23:59:59{found[4]}{base - 1}")
    minute = hours * 60 + minutes
    label = (minute * 60 + seconds) * base + frames
    if not drop:
        return label
    if minute % 10 and seconds == 0 and frames < SKIPPED:
        raise ValueError(f"{text!r} does not exist: drop-frame goes from ;{base - 1} to ;{SKIPPED:02d} in this minute")
    return label - SKIPPED * (minute - minute // 10)


def _label_number(frame: int) -> int:
    """Return how many labels, skipped ones included, lie ahead of the label of drop-frame `frame`."""
    a_minute = 60 * 30 - SKIPPED
    tens, rest = divmod(frame, 10 * a_minute + SKIPPED)
    # The first minute of ten is whole: its two more labels shift the bounds of the others.
    minutes = max(0, rest - SKIPPED) // a_minute
    return frame + SKIPPED * (9 * tens + minutes)


def _labels_per_second(rate: Fraction, *, drop: bool) -> int:
    if drop and rate != DROP_RATE:
        raise ValueError(f"drop-frame timecode at {rate} frames a second does not exist: expected {DROP_RATE}")
    try:
        return _LABELS_PER_SECOND[rate]
    except KeyError:
        known = ", ".join(str(known) for known in _LABELS_PER_SECOND)
        raise ValueError(f"no timecode counts at {rate} frames a second: expected one of {known}") from None
