"""A reel on one page: a contact sheet, and a strip with a thumbnail for each second, its cuts and findings marked.

Both are PNG files, drawn from the thumbnails that an inspection kept: no frame is read for them.
"""

import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from relay.film.footage import format_footage
from relay.film.gauges import Gauge
from relay.media.findings import Finding, Grade, Run
from relay.media.thumbnails import Coloured, Thumbnails

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

SHEET_COLUMNS, SHEET_ROWS = 6, 6
STRIP_COLUMNS = 30
_CELL, _STRIP_CELL = 160, 64  # pixels across
_TEXT, _BAND = 14, 10  # pixels down
_PAPER, _INK, _CUT = (24, 24, 26), (225, 225, 220), (240, 240, 240)
MARKS = {Grade.BLOCKS: (208, 72, 56), Grade.WARNS: (214, 160, 54)}
"""The colours of findings: what blocks, what warns."""


def contact_sheet(title: str, run: Run, thumbnails: Thumbnails, gauge: Gauge | None = None) -> bytes:
    """Return a PNG of at most 36 coloured thumbnails, evenly taken, each with its number and footage."""
    from PIL import Image, ImageDraw

    numbers = _evenly(sorted(thumbnails.coloured), SHEET_COLUMNS * SHEET_ROWS)
    tall = _cell_rows(thumbnails.coloured, _CELL) + _TEXT + 6
    lines = max(1, -(-len(numbers) // SHEET_COLUMNS))
    sheet = Image.new("RGB", (SHEET_COLUMNS * (_CELL + 4) + 4, lines * tall + 2 * _TEXT), _PAPER)
    draw = ImageDraw.Draw(sheet)
    _write(draw, (6, 4), f"{title}   {run.count} frames, {run.width}x{run.height}")
    for place, number in enumerate(numbers):
        x, y = 4 + place % SHEET_COLUMNS * (_CELL + 4), 2 * _TEXT + place // SHEET_COLUMNS * tall
        small = _picture(thumbnails.coloured[number], _CELL)
        sheet.paste(small, (x, y))
        footage = f"   {format_footage(number - run.first, gauge)}" if gauge else ""
        _write(draw, (x, y + small.height + 1), f"{number}{footage}")
    return _png(sheet)


def strip(run: Run, thumbnails: Thumbnails, findings: Iterable[Finding]) -> bytes:
    """Return a PNG with a thumbnail for each second, and under each row where the cuts and the findings are."""
    from PIL import Image, ImageDraw

    every, high = thumbnails.every, _cell_rows(thumbnails.coloured, _STRIP_CELL)
    tall, long = high + _BAND + _TEXT, STRIP_COLUMNS * every
    held = sorted({(number - run.first) // long for number in thumbnails.coloured} | {0})  # in a gap no rows are drawn
    page = Image.new("RGB", (STRIP_COLUMNS * _STRIP_CELL, len(held) * tall), _PAPER)
    draw = ImageDraw.Draw(page)
    cuts, own = thumbnails.cuts(), [each for each in findings if each.where == run.name]
    top = {line: place * tall for place, line in enumerate(held)}
    for number, small in thumbnails.coloured.items():  # a second without any frame stays empty
        line, column = divmod((number - run.first) // every, STRIP_COLUMNS)
        page.paste(_picture(small, _STRIP_CELL), (column * _STRIP_CELL, top[line]))
    for line, y in top.items():
        first = run.first + line * long
        _mark(draw, first, every, y + high, cuts, own)
        _write(draw, (2, y + high + _BAND), str(first))
    return _png(page)


def _mark(draw: "ImageDraw", first: int, every: int, y: int, cuts: Sequence[int], findings: Sequence[Finding]) -> None:
    """Draw the band under one row, whose first frame is `first` and whose cells are `every` frames long."""

    def across(number: int) -> float:
        return (number - first) * _STRIP_CELL / every

    wide = STRIP_COLUMNS * _STRIP_CELL
    for finding in sorted(findings, key=lambda each: each.grade is Grade.BLOCKS):  # what blocks lies on top
        for each in finding.frames:
            left, right = across(each.first), max(across(each.last + 1), across(each.first) + 2)
            if right > 0 and left < wide:
                draw.rectangle((max(0, left), y, min(wide, right), y + _BAND - 4), fill=MARKS[finding.grade])
    for cut in cuts:
        if 0 <= across(cut) < wide:
            draw.line((across(cut), y, across(cut), y + _BAND - 1), fill=_CUT)


def _evenly(numbers: list[int], most: int) -> list[int]:
    if len(numbers) <= most:
        return numbers
    return [numbers[place * (len(numbers) - 1) // (most - 1)] for place in range(most)]


def _cell_rows(coloured: dict[int, Coloured], wide: int) -> int:
    return max((round(each.rows * wide / each.columns) for each in coloured.values()), default=_TEXT)


def _picture(small: Coloured, wide: int) -> "Image":
    from PIL import Image

    whole = Image.frombytes("RGB", (small.columns, small.rows), small.body)
    return whole.resize((wide, max(1, round(small.rows * wide / small.columns))), Image.Resampling.BILINEAR)


def _write(draw: "ImageDraw", at: tuple[int, int], text: str) -> None:
    from PIL import ImageFont

    draw.text(at, text, fill=_INK, font=ImageFont.load_default(11))


def _png(page: "Image") -> bytes:
    body = io.BytesIO()
    page.save(body, "PNG")
    return body.getvalue()
