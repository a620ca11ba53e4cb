"""Draws what each print covers, as SVG and as PNG to send away: told by pattern first, and by a colour beside it.

Pure. Both pictures are drawn from one list of shapes, so that they cannot differ.
"""

import io
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple
from xml.etree.ElementTree import Element, SubElement, tostring

from relay.model import FrameRange, frame_count
from relay.programme.coverage import Covered, Strip
from relay.wording import count, printable

if TYPE_CHECKING:
    from PIL import ImageDraw

WIDE, LEFT, RIGHT, TALL, GAP = 1200, 250, 30, 26, 12
_INK, _PAPER, _PALE = "#26292b", "#ffffff", "#c9cdd0"
_SHADES = {"negative": "#1f3f5b", "copy": "#3f7f9f", "print": "#8fb8c8", "not sure": "#e6c26a",
           "not known": "#f1f2f3", "lacking": "#ffffff", "decay": "#ffffff"}  # fmt: skip
_PATTERNS = {"negative": "solid", "copy": "rising", "print": "dots", "not sure": "crossed", "not known": "level",
             "lacking": "empty", "decay": "waves"}  # fmt: skip
_TOLD = {
    "negative": "held, original negative",
    "copy": "held, duplicate or master",
    "print": "held, print",
    "decay": "decayed; twice as high: much",
    "not sure": "not sure: look",
    "not known": "not known",
    "lacking": "lacking",
}
_DECAY = 8
"""Pixels at the foot of a strip, twice as many for much decay: what the strip is shows above them."""
_A_ROW = 4  # of the legend
_STEP = 6  # pixels between two lines or dots of a pattern


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


class Words(NamedTuple):
    """Text on its base line; `size` in pixels."""

    x: float
    y: float
    text: str
    size: int = 12


Shape = Box | Stroke | Words


def shapes_of(reels: Sequence[Covered], title: str) -> tuple[list[Shape], int]:
    """Return what is to be drawn, and how high the page is, in pixels."""
    found: list[Shape] = [Words(16, 26, title, 16)]
    y = 46
    for number, look in enumerate(_TOLD):
        x, row = 16 + 290 * (number % _A_ROW), y + 24 * (number // _A_ROW)
        found += [Box(x, row, 30, 16, look), Words(x + 36, row + 13, _TOLD[look])]
    y += 24 * -(-len(_TOLD) // _A_ROW) + 16
    for reel in reels:
        found += [Words(16, y + 12, f"along {reel.name}, frames {reel.axis.first} to {reel.axis.last}", 13)]
        for frame in (reel.axis.first + (reel.axis.last - reel.axis.first) * part // 4 for part in (1, 2, 3)):
            at = _across(frame, reel.axis)
            found += [Words(at + 4, y + 12, str(frame), 10), Stroke(at, y + 4, at, y + 16)]
        y += 24
        for strip in reel.strips:
            found += _drawn(strip, reel.axis, y)
            y += TALL + GAP
        found.append(Words(16, y + 10, f"in no print: {count(frame_count(reel.nowhere), 'frame')}"))
        found += [Words(LEFT, y + 22 + 14 * number, text, 10) for number, text in enumerate(_notes(reel))]
        found += [Stroke(_across(each.first, reel.axis), y + 6, _across(each.last + 1, reel.axis), y + 6)
                  for each in reel.nowhere]  # fmt: skip
        y += 34 + 14 * len(_notes(reel))
    return found, y


def _notes(reel: Covered) -> list[str]:
    """Return what a strip does not show: how far its maps can be followed, and what nobody looked for."""
    ways = [f"{strip.name} by way of {', '.join(strip.by)}" for strip in reel.strips if strip.by]
    unseen = [strip.name for strip in reel.strips if strip.decay is None]
    told = [f"Nobody put these beside it, others lead there: {'; '.join(ways)}."] if ways else []
    return told + ([f"Nobody looked for decay in {', '.join(unseen)}."] if unseen else [])


def _drawn(strip: Strip, axis: FrameRange, y: float) -> Iterator[Shape]:
    yield Words(16, y + 11, strip.name, 13)
    yield Words(16, y + 24, f"{strip.kind or 'print'}, {100 * strip.share(axis):.1f} %", 10)
    for frames, holding in strip.stretches:
        x = _across(frames.first, axis)
        look = strip.level if holding == "held" else holding
        yield Box(x, y, max(1.0, _across(frames.last + 1, axis) - x), TALL, look)
    for each in strip.decay or ():
        x, high = _across(each.frames.first, axis), 2 * _DECAY if each.much else _DECAY
        yield Box(x, y + TALL - high, max(1.0, _across(each.frames.last + 1, axis) - x), high, "decay")
    for after, length in strip.inserts:
        x = _across(axis.first if after is None else after + 1, axis)
        yield Stroke(x, y - 4, x, y + TALL + 4)
        yield Words(x + 2, y + TALL + 9, f"+{length}", 9)


def _across(frame: int, axis: FrameRange) -> float:
    return round(LEFT + (frame - axis.first) / (axis.last - axis.first + 1) * (WIDE - LEFT - RIGHT), 2)


def coverage_svg(reels: Sequence[Covered], title: str) -> str:
    """Return the page as SVG."""
    shapes, high = shapes_of(reels, title)
    page = Element("svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {WIDE} {high}", role="img")
    SubElement(page, "title").text = printable(title)
    known = SubElement(page, "defs")
    for look, pattern in _PATTERNS.items():
        _define(known, look, pattern)
    SubElement(page, "rect", width=str(WIDE), height=str(high), fill=_PAPER)
    for shape in shapes:
        _add(page, shape)
    return tostring(page, encoding="unicode", xml_declaration=True) + "\n"


def _define(known: Element, look: str, pattern: str) -> None:
    tile = SubElement(
        known, "pattern", id=look.replace(" ", "-"), width=str(_STEP), height=str(_STEP), patternUnits="userSpaceOnUse"
    )
    SubElement(tile, "rect", width=str(_STEP), height=str(_STEP), fill=_SHADES[look])
    if pattern in {"rising", "crossed"}:
        SubElement(tile, "path", d=f"M0 {_STEP} L{_STEP} 0", stroke=_INK)
    if pattern == "crossed":
        SubElement(tile, "path", d=f"M0 0 L{_STEP} {_STEP}", stroke=_INK)
    if pattern == "dots":
        SubElement(tile, "circle", cx="3", cy="3", r="1", fill=_INK)
    if pattern == "level":
        SubElement(tile, "path", d=f"M0 3 L{_STEP} 3", stroke=_PALE)
    if pattern == "waves":
        SubElement(tile, "path", d=f"M0 5 L3 1 L{_STEP} 5", stroke=_INK, fill="none")


def _add(page: Element, shape: Shape) -> None:
    match shape:
        case Box():
            known = {"x": shape.x, "y": shape.y, "width": shape.wide, "height": shape.high}
            dashes = {"stroke-dasharray": "3 2"} if shape.look == "lacking" else {}
            SubElement(
                page, "rect", {name: str(value) for name, value in known.items()} | dashes,
                fill=f"url(#{shape.look.replace(' ', '-')})", stroke=_INK if dashes else _PALE,
            )  # fmt: skip
        case Stroke():
            ends = {"x1": shape.x1, "y1": shape.y1, "x2": shape.x2, "y2": shape.y2}
            SubElement(page, "line", {name: str(value) for name, value in ends.items()} | {"stroke-width": "2"},
                       stroke=_INK)  # fmt: skip
        case Words():
            written = SubElement(
                page, "text", {"font-size": str(shape.size), "font-family": "sans-serif"}, x=str(shape.x),
                y=str(shape.y), fill=_INK,
            )  # fmt: skip
            written.text = printable(shape.text)


def coverage_png(reels: Sequence[Covered], title: str, by: int = 2) -> bytes:
    """Return the page as PNG, `by` times as large as the SVG's own pixels. Needs Pillow."""
    from PIL import Image, ImageDraw, ImageFont

    shapes, high = shapes_of(reels, title)
    page = Image.new("RGB", (WIDE * by, high * by), _PAPER)
    pen = ImageDraw.Draw(page)
    for shape in shapes:
        match shape:
            case Box():
                x, y = round(shape.x * by), round(shape.y * by)
                size = max(1, round(shape.wide * by)), round(shape.high * by)
                tile = Image.new("RGB", size, _SHADES[shape.look])
                _pattern(ImageDraw.Draw(tile), size, _PATTERNS[shape.look], _STEP * by)
                page.paste(tile, (x, y))
                edge = _INK if shape.look == "lacking" else _PALE
                pen.rectangle((x, y, x + size[0] - 1, y + size[1] - 1), outline=edge)
            case Stroke():
                pen.line([value * by for value in shape], fill=_INK, width=2 * by)
            case Words():
                font = ImageFont.load_default(shape.size * by)
                pen.text((shape.x * by, shape.y * by), printable(shape.text), fill=_INK, font=font, anchor="ls")
    out = io.BytesIO()
    page.save(out, "PNG")
    return out.getvalue()


def _pattern(pen: "ImageDraw.ImageDraw", size: tuple[int, int], pattern: str, step: int) -> None:
    wide, high = size
    if pattern in {"rising", "crossed"}:
        for at in range(0, wide + high, step):
            pen.line((at, 0, at - high, high), fill=_INK)
            if pattern == "crossed":
                pen.line((at - high, 0, at, high), fill=_INK)
    if pattern == "level":
        for y in range(step // 2, high, step):
            pen.line((0, y, wide, y), fill=_PALE, width=2)
    if pattern == "waves":
        for y in range(0, high, step):
            ends = [(x, y + (step - 2 if turn % 2 else 1)) for turn, x in enumerate(range(0, wide + step, step // 2))]
            pen.line(ends, fill=_INK, width=2)
    if pattern == "dots":
        for x in range(step // 2, wide, step):
            for y in range(step // 2, high, step):
                pen.ellipse((x - 1, y - 1, x + 1, y + 1), fill=_INK)
