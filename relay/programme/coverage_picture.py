"""Draws what each print covers, as SVG and as PNG to send away: told by pattern first, and by a colour beside it.

Pure. Both pictures are drawn from one list of shapes, so that they cannot differ.
"""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, tostring

from relay.programme.coverage import Covered
from relay.programme.coverage_shapes import WIDE, Box, Mark, Shape, Stroke, Words, shapes_of
from relay.wording import printable

if TYPE_CHECKING:
    from PIL import ImageDraw

_INK, _PAPER, _PALE = "#26292b", "#ffffff", "#7d858a"
_SHADES = {"negative": "#1f3f5b", "copy": "#3f7f9f", "print": "#8fb8c8", "not sure": "#e6c26a",
           "not known": "#f1f2f3", "lacking": "#ffffff", "decay": "#ffffff", "nowhere": _INK}  # fmt: skip
_PATTERNS = {"negative": "solid", "copy": "rising", "print": "dots", "not sure": "crossed", "not known": "level",
             "lacking": "empty", "decay": "waves", "nowhere": "solid"}  # fmt: skip
_EDGED = {"lacking": _INK, "not known": _PALE, "decay": _PALE}
"""Looks that have an outline, since paper would not end: beside held ones it would look like a gap."""
_STEP = 6  # pixels between two lines or dots of a pattern
_MARK = 4  # half as wide as a mark, in pixels


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
            edge = {"stroke": _EDGED[shape.look]} if shape.look in _EDGED else {}
            SubElement(
                page, "rect", {name: str(value) for name, value in known.items()} | edge,
                fill=f"url(#{shape.look.replace(' ', '-')})",
            )  # fmt: skip
        case Stroke():
            ends = {"x1": shape.x1, "y1": shape.y1, "x2": shape.x2, "y2": shape.y2}
            SubElement(page, "line", {name: str(value) for name, value in ends.items()} | {"stroke-width": "2"},
                       stroke=_INK)  # fmt: skip
        case Mark():
            SubElement(page, "polygon", points=" ".join(f"{x},{y}" for x, y in _corners(shape)), fill=_INK)
        case Words():
            written = SubElement(
                page, "text", {"font-size": str(shape.size), "font-family": "sans-serif"}, x=str(shape.x),
                y=str(shape.y), fill=_INK,
            )  # fmt: skip
            written.text = printable(shape.text)


def _corners(mark: Mark) -> list[tuple[float, float]]:
    return [(mark.x, mark.y), *((round(mark.x + aside, 2), mark.y - 7) for aside in (-_MARK, _MARK))]


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
                if edge := _EDGED.get(shape.look):
                    pen.rectangle((x, y, x + size[0] - 1, y + size[1] - 1), outline=edge)
            case Stroke():
                pen.line([value * by for value in shape], fill=_INK, width=2 * by)
            case Mark():
                pen.polygon([(x * by, y * by) for x, y in _corners(shape)], fill=_INK)
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
