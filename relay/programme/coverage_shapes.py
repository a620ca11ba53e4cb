"""What each print covers, laid out on a page: rectangles in patterns, lines, marks and words. Pure, nothing drawn.

What is too narrow to be seen is drawn two pixels wide and marked from above: one frame of a reel is not overlooked.
"""

import textwrap
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from relay.model import FrameRange, frame_count
from relay.programme.coverage import Covered, Holding, Insert, Strip, share_in_words
from relay.wording import count

WIDE, LEFT, RIGHT, TALL, GAP = 1200, 262, 30, 48, 20
TOLD = {
    "negative": "held, original negative",
    "copy": "held, duplicate or master",
    "print": "held, print",
    "decay": "decayed; twice as high: much",
    "not sure": "not sure: look",
    "not known": "not known",
    "lacking": "lacking",
    "nowhere": "in no print",
}
_DECAY = 8
"""Pixels at the foot of a strip, twice as many for much decay: what the strip is shows above them."""
_A_ROW = 4  # of the legend
_NARROW, _LEAST = 4.0, 2.0
"""Pixels: what is narrower than the first is marked from above; and nothing is narrower than the second."""
_A_LETTER, _A_CAPITAL = 0.55, 0.72
"""Of its height: about how wide a letter is."""
_TICKS = 9
"""Numbers along an axis, at most."""
_COUNTED: tuple[Holding, Holding] = ("lacking", "not sure")
_DRAWN: tuple[Holding, ...] = ("held", "not known", "not sure", "lacking")
"""In this order: the narrow ones last, so that nothing hides them."""
_NOTE = 165  # letters in a line of notes


class Box(NamedTuple):
    """A rectangle in one of the patterns; `look` is a key of the legend."""

    x: float
    y: float
    wide: float
    high: float
    look: str


class Stroke(NamedTuple):
    """A line."""

    x1: float
    y1: float
    x2: float
    y2: float


class Mark(NamedTuple):
    """A small triangle whose point is at `x`, `y`: something narrow is below it."""

    x: float
    y: float


class Words(NamedTuple):
    """Text on its base line; `size` in pixels."""

    x: float
    y: float
    text: str
    size: int = 12


Shape = Box | Stroke | Mark | Words


def shapes_of(reels: Sequence[Covered], title: str) -> tuple[list[Shape], int]:
    """Return what is to be drawn, and how high the page is, in pixels."""
    found: list[Shape] = [fitted(16, 26, title, 16, WIDE - 32)]
    legend, y = _legend(46)
    found += legend
    for reel in reels:
        found += _axis(reel, y)
        y += 24
        for strip in reel.strips:
            found += _drawn(strip, reel.axis, y)
            y += TALL + GAP
        found += _in_no_print(reel, y)
        y += 30
        notes = [line for note in _notes(reel) for line in textwrap.wrap(note, _NOTE)]
        found += [Words(LEFT, y + 14 * number, text, 10) for number, text in enumerate(notes)]
        y += 24 + 14 * len(notes)
    return found, y


def _legend(y: float) -> tuple[list[Shape], int]:
    found: list[Shape] = []
    for number, (look, told) in enumerate((*TOLD.items(), ("mark", "narrow: lacking below"), ("more", ""))):
        x, row = 16 + 290 * (number % _A_ROW), y + 24 * (number // _A_ROW)
        if look == "mark":
            found += [Mark(x + 15, row + 14), Words(x + 36, row + 13, told)]
        elif look == "more":
            found += [Stroke(x + 4, row - 1, x + 4, row + 17), Words(x + 8, row + 15, "+14", 9)]
            found += [Words(x + 36, row + 13, "has 14 frames more here than the print along whose frames it is drawn")]
        else:
            found += [Box(x, row + 6, 30, 10, look) if look == "nowhere" else Box(x, row, 30, 16, look)]
            found += [Words(x + 36, row + 13, told)]
    return found, int(y + 24 * -(-(len(TOLD) + 2) // _A_ROW) + 20)


def _axis(reel: Covered, y: float) -> Iterator[Shape]:
    yield fitted(16, y + 12, f"along {reel.name}, {reel.axis.first} to {reel.axis.last}", 13, LEFT - 26)
    for frame in ticks(reel.axis):
        at = across(frame, reel.axis)
        yield Stroke(at, y + 4, at, y + 16)
        text, wide = str(frame), _wide(str(frame), 10)
        yield Words(at + 4 if at + 4 + wide < WIDE - 4 else round(at - 4 - wide, 2), y + 12, text, 10)


def ticks(axis: FrameRange) -> list[int]:
    """Return round numbers along an axis, a few."""
    size = axis.last - axis.first + 1
    steps = (digit * 10**power for power in range(9) for digit in (1, 2, 5))
    step = next(step for step in steps if size <= step * _TICKS)
    return list(range(-(-axis.first // step) * step, axis.last + 1, step))


def _drawn(strip: Strip, axis: FrameRange, y: float) -> Iterator[Shape]:
    room = LEFT - 26
    yield fitted(16, y + 11, strip.name, 13, room)
    lacks, unsure = (frame_count(strip.of(holding)) for holding in _COUNTED)
    told = f"holds {share_in_words(strip, axis)}, lacks {count(lacks, 'frame')}"
    lines = (strip.title, strip.kind or "print", told + (f", not sure of {unsure:,}" if unsure else ""))
    for number, text in enumerate(filter(None, lines)):
        yield fitted(16, y + 23 + 12 * number, text, 10, room)
    for holding in _DRAWN:
        for frames in strip.of(holding):
            yield _box(frames, axis, (y, TALL), strip.level if holding == "held" else holding)
    for each in strip.decay or ():
        high = 2 * _DECAY if each.much else _DECAY
        yield _box(each.frames, axis, (y + TALL - high, high), "decay")
    yield from _marks(strip.of("lacking"), axis, y)
    yield from _more(strip.inserts, axis, y)


def _box(frames: FrameRange, axis: FrameRange, rows: tuple[float, float], look: str) -> Box:
    x, end = across(frames.first, axis), across(frames.last + 1, axis)
    wide = max(_LEAST, end - x)
    return Box(min(x, WIDE - RIGHT - wide), rows[0], round(wide, 2), rows[1], look)


def _marks(ranges: Sequence[FrameRange], axis: FrameRange, y: float) -> Iterator[Mark]:
    for frames in ranges:
        x, end = across(frames.first, axis), across(frames.last + 1, axis)
        if end - x < _NARROW:
            yield Mark(round((x + max(end, x + _LEAST)) / 2, 2), y - 1)


def _more(inserts: Sequence[Insert], axis: FrameRange, y: float) -> Iterator[Shape]:
    """Draw what the axis has no numbers for; where numbers would lie on each other, they are added up."""
    groups: list[list[tuple[float, int]]] = []
    for each in inserts:
        x = across(axis.first if each.after is None else each.after + 1, axis)
        yield Stroke(x, y - 4, x, y + TALL + 4)
        if groups and x < groups[-1][0][0] + 12 + _wide(_added(groups[-1]), 9):
            groups[-1].append((x, each.length))
        else:
            groups.append([(x, each.length)])
    for group in groups:
        text = _added(group)
        yield Words(min(group[0][0] + 2, WIDE - 2 - _wide(text, 9)), y + TALL + 10, text, 9)


def _added(group: Sequence[tuple[float, int]]) -> str:
    total = f"+{sum(length for _, length in group)}"
    return total if len(group) == 1 else f"{total} in {len(group)} places"


def _in_no_print(reel: Covered, y: float) -> Iterator[Shape]:
    yield Words(16, y + 11, f"in no print: {count(frame_count(reel.nowhere), 'frame')}", 13)
    yield Stroke(LEFT, y + 13, WIDE - RIGHT, y + 13)
    for frames in reel.nowhere:
        yield _box(frames, reel.axis, (y + 1, 12), "nowhere")
    yield from _marks(reel.nowhere, reel.axis, y)


def _notes(reel: Covered) -> list[str]:
    """Return what a strip does not show: how far its maps can be followed, and what nobody looked for."""
    ways = [f"{strip.name} by way of {', '.join(strip.by)}" for strip in reel.strips if strip.by]
    unseen = [strip.name for strip in reel.strips if strip.decay is None]
    told = [f"Nobody put these beside it, others lead there: {'; '.join(ways)}."] if ways else []
    return told + ([f"Nobody looked for decay in {', '.join(unseen)}."] if unseen else [])


def fitted(x: float, y: float, text: str, size: int, room: float) -> Words:
    """Return words that take at most `room` pixels: smaller where they must be, and cut where that is too small."""
    while size > 8 and _wide(text, size) > room:
        size -= 1
    if _wide(text, size) > room:
        while text and _wide(text + "…", size) > room:
            text = text[:-1]
        text += "…"
    return Words(x, y, text, size)


def _wide(text: str, size: int) -> float:
    """Return about how wide a text is, in pixels, in any plain face."""
    return size * sum(_A_CAPITAL if letter.isupper() else _A_LETTER for letter in text)


def across(frame: int, axis: FrameRange) -> float:
    """Return where a frame begins on the page, in pixels."""
    return round(LEFT + (frame - axis.first) / (axis.last - axis.first + 1) * (WIDE - LEFT - RIGHT), 2)
