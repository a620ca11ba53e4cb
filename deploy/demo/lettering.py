"""The letters of the intertitles: our own, seven rows of five dots, rounded off when they are enlarged."""

import numpy as np
from numpy.typing import NDArray

from deploy.demo.canvas import Tones, blurred

ROWS, COLUMNS = 7, 5
_ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,'!?-"
_DOTS = """
.###. ####. .###. ####. ##### ##### .###. #...# .###. ..### #...# #.... #...# #...# .###. ####. .###. ####. .####
#...# #...# #...# #...# #.... #.... #...# #...# ..#.. ...#. #..#. #.... ##.## ##..# #...# #...# #...# #...# #....
#...# #...# #.... #...# #.... #.... #.... #...# ..#.. ...#. #.#.. #.... #.#.# #.#.# #...# #...# #...# #...# #....
##### ####. #.... #...# ####. ####. #.### ##### ..#.. ...#. ##... #.... #.#.# #..## #...# ####. #...# ####. .###.
#...# #...# #.... #...# #.... #.... #...# #...# ..#.. ...#. #.#.. #.... #...# #...# #...# #.... #.#.# #.#.. ....#
#...# #...# #...# #...# #.... #.... #...# #...# ..#.. #..#. #..#. #.... #...# #...# #...# #.... #..#. #..#. ....#
#...# ####. .###. ####. ##### #.... .###. #...# .###. .##.. #...# ##### #...# #...# .###. #.... .##.# #...# ####.

##### #...# #...# #...# #...# #...# ##### .###. ..#.. .###. .###. ...#. ##### .###. ##### .###. .###. ..... .....
..#.. #...# #...# #...# #...# #...# ....# #...# .##.. #...# #...# ..##. #.... #.... ....# #...# #...# ..... .....
..#.. #...# #...# #...# .#.#. .#.#. ...#. #..## ..#.. ....# ....# .#.#. ####. #.... ...#. #...# #...# ..... .....
..#.. #...# #...# #.#.# ..#.. ..#.. ..#.. #.#.# ..#.. ...#. ..##. #..#. ....# ####. ..#.. .###. .#### ..... .....
..#.. #...# .#.#. #.#.# .#.#. ..#.. .#... ##..# ..#.. ..#.. ....# ##### ....# #...# ..#.. #...# ....# ..... .....
..#.. #...# .#.#. ##.## #...# ..#.. #.... #...# ..#.. .#... #...# ...#. #...# #...# ..#.. #...# ....# .##.. .##..
..#.. .###. ..#.. #...# #...# ..#.. ##### .###. .###. ##### .###. ...#. .###. .###. ..#.. .###. .###. .##.. ..#..

..#.. ..#.. .###. .....
..#.. ..#.. #...# .....
..... ..#.. ....# .....
..... ..#.. ..##. .###.
..... ..#.. ..#.. .....
..... ..... ..... .....
..... ..#.. ..#.. .....
"""


def _letters() -> dict[str, NDArray[np.bool_]]:
    drawn = (
        column
        for band in _DOTS.strip().split("\n\n")
        for column in zip(*map(str.split, band.splitlines()), strict=True)
    )
    shapes = (np.array([list(row) for row in letter]) == "#" for letter in drawn)
    return {" ": np.zeros((ROWS, COLUMNS), bool)} | dict(zip(_ALPHABET, shapes, strict=True))


LETTERS = _letters()


def line_of(words: str, dot: int) -> Tones:
    """Return `words` as coverage from 0 to 1, each dot of a letter `dot` samples wide, with a margin of one dot."""
    spaced = np.hstack([np.pad(LETTERS[letter], ((1, 1), (1, 0))) for letter in words.upper()])
    large = np.kron(np.pad(spaced, ((0, 0), (0, 1))), np.ones((dot, dot), bool)).astype(np.float32)
    # Blurring and then hardening the edge rounds the corners of the dots, as ink does.
    soft = blurred(large, dot // 2)
    ink: Tones = np.clip((soft - 0.35) * 4, 0, 1)
    return ink
