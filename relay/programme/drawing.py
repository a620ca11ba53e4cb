"""Draws where picture and sound part: as letters for a terminal, and as an SVG. Pure."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement, tostring

from relay.film.rates import format_rate, format_running_time
from relay.programme.parting import Parting
from relay.wording import printable

COLUMNS, ROWS = 72, 4
"""Of letters: a letter for each moment, and rows over and under the line of sync."""

IN_STEP, APART = "▒", "█"
"""Letters within the tolerance and beyond: told apart without colours."""


class Mark(NamedTuple):
    """A stroke of letters of one kind on one line."""

    text: str
    is_apart: bool


def letters(found: Parting) -> Iterator[tuple[str, tuple[Mark, ...]]]:
    """Yield lines of a chart, top first: what stands before each, and its strokes. Up: the picture is late."""
    moments = [found.picture() * (2 * column + 1) / (2 * COLUMNS) for column in range(COLUMNS)]
    heights = [found.behind_at(moment) for moment in moments]
    top = max(*map(abs, (point.behind for point in found.points)), found.tolerance, Fraction(1))
    for row in range(ROWS, -ROWS - 1, -1):
        marks = tuple(_letter(height, row, top, found.tolerance) for height in heights)
        label = f"{float(top * row / ROWS):+8.1f} " if row in {ROWS, -ROWS} else "in step  " if row == 0 else " " * 9
        yield label, marks
    end = format_running_time(found.picture())
    yield " " * 9, (Mark("0:00" + end.rjust(COLUMNS - 4), is_apart=False),)


def _letter(height: Fraction, row: int, top: Fraction, tolerance: Fraction) -> Mark:
    reaches = row != 0 and (height * row > 0) and abs(height) * ROWS > top * (abs(row) - Fraction(1, 2))
    if reaches:
        return Mark(APART if abs(height) > tolerance else IN_STEP, abs(height) > tolerance)
    return Mark("─" if row == 0 else " ", is_apart=False)


WIDE, HIGH, LEFT, TOP = 960, 320, 70, 40
_INK, _PALE, _WRONG, _RIGHT = "#26292b", "#c9cdd0", "#b3402f", "#2f6f8f"


def svg(found: Parting, title: str) -> str:
    """Return the chart as a page of its own: how far the picture is behind, over the picture's time."""
    page = Element("svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {WIDE} {HIGH}", role="img")
    SubElement(page, "title").text = printable(title)
    SubElement(page, "rect", width=str(WIDE), height=str(HIGH), fill="#ffffff")
    _text(page, LEFT, 22, title, size=15)
    top = max(*map(abs, (point.behind for point in found.points)), 2 * found.tolerance, Fraction(1))
    middle, reach = (HIGH + TOP - 40) / 2, (HIGH - TOP - 40) / 2 - 8

    def across(second: Fraction) -> str:
        return f"{LEFT + float(second / found.picture()) * (WIDE - LEFT - 20):.1f}"

    def down(behind: Fraction) -> str:
        return f"{middle - float(behind / top) * reach:.1f}"

    band = float(down(-found.tolerance)) - float(down(found.tolerance))
    SubElement(
        page, "rect", x=str(LEFT), y=down(found.tolerance), width=str(WIDE - LEFT - 20), height=f"{band:.1f}",
        fill="#e8f0f4",
    )  # fmt: skip
    _line(page, (str(LEFT), down(Fraction(0))), (str(WIDE - 20), down(Fraction(0))), _INK)
    tolerance = f"frames apart, shaded: up to {float(found.tolerance):g}"
    _text(page, WIDE - 320, 22, f"{tolerance}; {format_running_time(found.picture())} in all", size=10)
    for value in (top, Fraction(0), -top):
        _text(page, 8, float(down(value)) + 4, f"{float(value):+.1f}" if value else "in step")
    for each in found.laid:
        _line(page, (across(each.begins), str(TOP)), (across(each.begins), str(HIGH - 40)), _PALE)
        _text(page, float(across(each.begins)) + 3, HIGH - 26, _short(each.scene.name), size=10)
        _text(page, float(across(each.begins)) + 3, HIGH - 12, format_rate(each.scene.speed), size=10)
    for one, other in pairwise(found.points):
        is_apart = max(abs(one.behind), abs(other.behind)) > found.tolerance
        ends = (across(one.at), down(one.behind)), (across(other.at), down(other.behind))
        _line(page, *ends, _WRONG if is_apart else _RIGHT, width="2.5")
    if (second := found.parts_at()) is not None:
        x, y = across(second), down(found.behind_at(second))
        SubElement(page, "circle", cx=x, cy=y, r="5", fill="none", stroke=_WRONG)
        beside = 16 if found.behind_at(second) > 0 else -8  # on the side that the line does not cross
        _text(page, float(x) + 8, float(y) + beside, f"parts at {format_running_time(second)}")
    return tostring(page, encoding="unicode", xml_declaration=True) + "\n"


def _short(name: str) -> str:
    return name if len(name) <= 16 else name[:15] + "…"


def _line(page: Element, begins: tuple[str, str], ends: tuple[str, str], colour: str, width: str = "1") -> None:
    SubElement(
        page, "line", {"x1": begins[0], "y1": begins[1], "x2": ends[0], "y2": ends[1], "stroke-width": width},
        stroke=colour,
    )  # fmt: skip


def _text(page: Element, x: float, y: float, text: str, size: int = 12) -> None:
    written = SubElement(
        page, "text", {"font-size": str(size), "font-family": "sans-serif"}, x=f"{x:.1f}", y=f"{y:.1f}", fill=_INK
    )
    written.text = printable(text)
