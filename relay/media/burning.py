"""Letters burnt into a reference copy, outside the picture where its shape leaves room, else on bars across its foot.

Digits are drawn once each and then copied, plane by plane: a frame's number costs a fraction of a millisecond.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge

LINES, WIDEST = 1080, 1920
_BAND = 64
"""Lines that letters need: 1/17 of the picture's height, to be read across a room."""
_SIZE = 44
_LEFT = 24
_NUMBERS = 440
"""Columns that a frame's number and footage take, with a space before them."""
_SMALLEST = 18
_WHITE, _DARK = 235, 16


@dataclass(frozen=True)
class Layout:
    """Where the picture lies in the movie, and where the letters."""

    width: int
    height: int
    window_width: int
    window_height: int
    left: int
    top: int
    text_top: int

    @classmethod
    def of(cls, width: int, height: int) -> "Layout":
        """Return the layout for frames of `width` by `height` pixels: 1080 lines, the whole window kept.

        The letters stand in a band of their own under the picture, and the window is as much smaller. A picture so wide
        that it leaves that room by itself keeps its full width.
        """
        lines = LINES - _BAND
        scale = min(lines / height, WIDEST / width)
        window_width, window_height = _even(width * scale), _even(height * scale)
        full = max(_even(window_width), 960)  # both texts side by side need that much
        left, top = (full - window_width) // 4 * 2, (lines - window_height) // 4 * 2
        return cls(full, LINES, window_width, window_height, left, top, lines)


def _even(size: float) -> int:
    return max(2, int(size / 2) * 2)


class Burner:
    """Puts pictures into the movie's frame and writes under them."""

    def __init__(self, layout: Layout, element: str, reel: str, gauge: str) -> None:
        self._layout = layout
        self._gauge = parse_gauge(gauge)
        self._name = _drawn(f"{element}  {reel}", layout.width - 2 * _LEFT - _NUMBERS)
        self._glyphs = {letter: _drawn(letter) for letter in "0123456789+- "}

    def burnt(self, small: Any, number: int) -> Any:
        """Return the movie's picture: `small`, a picture of the window's size or None for a gap, and what it is."""
        import av

        place = self._layout
        picture = av.VideoFrame(place.width, place.height, "yuv420p")
        for number_of_plane, empty in enumerate((_DARK, 128, 128)):
            plane, by = plane_of(picture, number_of_plane), 2 if number_of_plane else 1
            if small is None:
                plane[:] = empty
                continue
            _fill_around(plane, _rows(place, by), _columns(place, by), empty)
            plane[_rows(place, by), _columns(place, by)] = plane_of(small, number_of_plane)
        luma = plane_of(picture, 0)
        self._write(luma, self._name, _LEFT)
        text = f"{number}   {format_footage(number, self._gauge)}"
        drawn = np.concatenate([self._glyphs[letter] for letter in text], axis=1)
        self._write(luma, drawn, place.width - _LEFT - drawn.shape[1])
        return picture

    def _write(self, luma: NDArray[np.uint8], drawn: NDArray[np.uint8], left: int) -> None:
        top = self._layout.text_top
        wide = min(drawn.shape[1], self._layout.width - left)
        luma[top : top + drawn.shape[0], left : left + wide] = drawn[:, :wide]


def _fill_around(plane: NDArray[np.uint8], rows: slice, columns: slice, light: int) -> None:
    plane[: rows.start] = light
    plane[rows.stop :] = light
    plane[rows, : columns.start] = light
    plane[rows, columns.stop :] = light


def _rows(place: Layout, by: int = 1) -> slice:
    return slice(place.top // by, (place.top + place.window_height) // by)


def _columns(place: Layout, by: int = 1) -> slice:
    return slice(place.left // by, (place.left + place.window_width) // by)


def plane_of(picture: Any, number: int) -> NDArray[np.uint8]:
    """Return one plane of an 8-bit picture as an array of rows and columns, without the padding of its lines."""
    plane = picture.planes[number]
    whole = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
    return whole[:, : picture.width // (2 if number else 1)]


def _drawn(text: str, room: int | None = None) -> NDArray[np.uint8]:
    """Return `text` in white on black, `_BAND` lines high; smaller where `room`, in columns, asks for it."""
    from PIL import Image, ImageDraw, ImageFont

    size = _SIZE
    font = ImageFont.load_default(size)
    while room is not None and size > _SMALLEST and font.getlength(text) > room:
        size -= 1
        font = ImageFont.load_default(size)
    wide = max(1, round(font.getlength(text)))
    page = Image.new("L", (wide, _BAND), _DARK)
    ImageDraw.Draw(page).text((0, _BAND // 2), text, fill=_WHITE, font=font, anchor="lm")
    return np.asarray(page)
