"""What the demo's film shows and what became of it: the shots of its reels, and the three prints that are left."""

from dataclasses import dataclass
from itertools import accumulate
from math import pi, sin

from deploy.demo import scenes
from deploy.demo.scenes import Scene, card
from deploy.demo.wear import Wear

TITLE = "The Lamp at Quillmark"
FRAMES_PER_SECOND = 20
SHORTEST = 24
NO_SPLICE = 1000

Tint = tuple[int, int, int]
"""Codes that a dye takes from red, green and blue."""

_CLEAR, _NIGHT, _FIRESIDE, _DAY = (0, 0, 0), (120, 50, 5), (0, 38, 140), (0, 14, 52)


@dataclass(frozen=True)
class Shot:
    """A stretch of the reel from one cut to the next."""

    first: int
    length: int
    scene: Scene
    tint: Tint


@dataclass(frozen=True)
class Print:
    """One element: how worn it is, and which stretches it lost or are decaying, as parts of a reel."""

    name: str
    film_format: str
    wear: Wear
    tinted: bool
    lost: tuple[tuple[float, float], ...]
    decaying: tuple[tuple[float, float], ...] = ()


PRINTS = {
    "A": Print(
        name="A",
        film_format="35 mm 4-perf projection print",
        wear=Wear(0, 0.15, 0, grain=13, weave=1.2, flicker=7, dust=4, scratches=3, corner=0.10),
        tinted=True,
        lost=((0.20, 0.04), (0.66, 0.06)),
        decaying=((0.56, 0.10), (0.88, 0.08)),
    ),
    "B": Print(
        name="B",
        film_format="35 mm 4-perf fine grain master",
        wear=Wear(1, 0.05, -24, grain=10, weave=1.8, flicker=12, dust=8, scratches=2, corner=0.14),
        tinted=False,
        lost=((0.42, 0.05),),
    ),
    "C": Print(
        name="C",
        film_format="16 mm projection print",
        wear=Wear(6, 0.75, 14, grain=26, weave=3.0, flicker=16, dust=16, scratches=6, corner=0.22),
        tinted=False,
        lost=((0.08, 0.03), (0.85, 0.05)),
    ),
}

_REELS: tuple[tuple[tuple[int, Scene, Tint], ...], ...] = (
    (
        (3, card("THE LAMP", "AT QUILLMARK", dot=7), _FIRESIDE),
        (4, scenes.lamp, _NIGHT),
        (4, scenes.ferry, _DAY),
        (3, card("ALL NIGHT THE LAMP", "HAS CALLED THE FERRY.", "NOBODY ANSWERS."), _FIRESIDE),
        (4, scenes.train, _DAY),
        (4, scenes.walker, _NIGHT),
        (4, scenes.letter, _FIRESIDE),
    ),
    (
        (3, card("MIDNIGHT,", "AND STILL NO SAIL."), _FIRESIDE),
        (4, scenes.clock, _FIRESIDE),
        (4, scenes.storm, _NIGHT),
        (3, card("'DID YOU SEE IT", "FROM THE BIG WHEEL?'"), _FIRESIDE),
        (4, scenes.wheel, _NIGHT),
        (4, scenes.morning, _DAY),
        (2, card("THE END", dot=7), _FIRESIDE),
    ),
)


def shots(reel: int, frames: int) -> list[Shot]:
    """Return the shots of `reel` (counted from 1; they take turns), fitted to its length in frames."""
    if frames < SHORTEST:
        raise ValueError(f"a reel of {frames} frames cannot hold its shots: expected at least {SHORTEST}")
    leader = max(frames // 40, 1)
    made_of = _REELS[(reel - 1) % len(_REELS)]
    ends = list(accumulate(weight for weight, _, _ in made_of))
    cuts = [leader, *(leader + end * (frames - leader) // ends[-1] for end in ends)]
    bounds = zip(cuts, cuts[1:], made_of, strict=False)
    cut_to_length = [Shot(first, end - first, scene, tint) for first, end, (_, scene, tint) in bounds]
    return [Shot(0, leader, scenes.start_mark(reel), _CLEAR), *cut_to_length]


def frames_lost(print_name: str, reel: int, frames: int) -> list[int]:
    """Return which of the `frames` of `reel` this print lacks. No frame is lost from all three prints."""
    return [frame for stretch in PRINTS[print_name].lost for frame in _stretch(stretch, reel, frames)]


def frames_spoiled(print_name: str, reel: int, frames: int) -> list[int]:
    """Return the frames of `reel` that decay or jump at a join in this print, and are not lost."""
    lost = frames_lost(print_name, reel, frames)
    jumping = [frame for frame in range(frames) if since_splice(lost, frame) < 2]
    decaying = [frame for stretch in PRINTS[print_name].decaying for frame in _stretch(stretch, reel, frames)]
    return sorted({*jumping, *decaying} - set(lost))


def decay_at(print_name: str, reel: int, frames: int, frame: int) -> float:
    """Return how far `frame` has decayed, from 0 to 1."""
    for stretch in PRINTS[print_name].decaying:
        eaten = _stretch(stretch, reel, frames)
        if frame in eaten:
            return sin(pi * (frame - eaten.start + 1) / (len(eaten) + 1))
    return 0.0


def since_splice(lost: list[int], frame: int) -> int:
    """Return how many frames `frame` lies after the last join in a print without the frames `lost`."""
    joins = [gone + 1 for gone in lost if gone < frame]
    return frame - joins[-1] if joins else frame + NO_SPLICE


def _stretch(stretch: tuple[float, float], reel: int, frames: int) -> range:
    """Each reel was worn at other places, a little further in."""
    at, length = stretch
    first = int((at + 0.02 * ((reel - 1) % 4)) * frames)
    return range(first, first + max(int(length * frames), 1))
