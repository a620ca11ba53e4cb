"""Whether the pictures of what a lab returns tell which frame each one is, however it was graded.

    python -m tests.bench.conform CLIP [TRIALS]

CLIP is the photographic clip that tests/references/pictures.py names. Each trial takes 150 to 240 of its 250 frames as
a source, shows them at a speed of its own, grades them shot by shot, and does one of five wrongs to the list, or none.
A wrong counts as caught where some place of it is named; as an alarm, each place named that is right.
"""

import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np

from relay.media.thumbnails import COLUMNS, ROWS, GreyReel
from relay.model import ReelName
from relay.programme.conforming import PLAIN, SURE
from relay.programme.cutlist import CutList, Event, Shown
from relay.programme.matching import match, runs, sureness
from tests.references.pictures import pictures

A = ReelName("A/R01")
CUTS = (0, 30, 76, 137, 187, 242, 250)  # REFERENCES: first frames of the clip's shots
SIZE = 128, 96
WEAVE = 0.4
"""Pixels of 128: how far, usually, a frame lies from where it should; 0.3 % of the width."""
Wrong = Callable[[list[Shown], np.random.Generator], list[Shown]]


def luma(movie: Path) -> np.ndarray:
    frames = [np.asarray(each, np.float32) / 65535 for each in pictures(movie, *SIZE)]
    return np.stack(frames) @ np.array([0.2126, 0.7152, 0.0722], np.float32)


def small(tones: np.ndarray) -> np.ndarray:
    count = len(tones)
    shaped = tones.reshape(count, ROWS, SIZE[1] // ROWS, COLUMNS, SIZE[0] // COLUMNS).mean(axis=(2, 4))
    return np.clip(shaped * 255, 0, 255).astype(np.uint8)


def woven(picture: np.ndarray, down: float, aside: float) -> np.ndarray:
    for axis, by in ((0, down), (1, aside)):
        whole = int(np.floor(by))
        near, far = np.roll(picture, whole, axis), np.roll(picture, whole + 1, axis)
        picture = near + (by - whole) * (far - near)
    return picture


def worn(tones: np.ndarray, grain: np.random.Generator) -> np.ndarray:
    """Scan it: grain, flicker, weave of a pixel, dust."""
    found = np.empty_like(tones)
    for at, each in enumerate(tones):
        moved = woven(each, *grain.normal(0, WEAVE, 2)) * (1 + grain.normal(0, 0.05))
        found[at] = moved + grain.normal(0, 0.06, each.shape)
        for _ in range(grain.poisson(3)):
            row, column = grain.integers(0, each.shape[0] - 4), grain.integers(0, each.shape[1] - 4)
            found[at, row : row + 3, column : column + 3] = grain.choice([0.0, 1.0])
    return np.clip(found, 0, 1)


def graded(tones: np.ndarray, frames: list[int], draw: np.random.Generator) -> np.ndarray:
    """Process it: steadied, cleaned, each shot another gamma, contrast and lift, a window laid over one side."""
    found = np.empty((len(frames), *tones.shape[1:]), np.float32)
    looks = [(draw.uniform(0.5, 1.8), draw.uniform(0.6, 1.5), draw.normal(0, 0.08)) for _ in CUTS]
    window = 1 + draw.normal(0, 0.25) * np.linspace(-1, 1, tones.shape[2])
    for at, frame in enumerate(frames):
        gamma, gain, lift = looks[sum(frame >= cut for cut in CUTS) - 1]
        found[at] = np.clip((tones[frame] ** gamma - 0.5) * gain + 0.5 + lift, 0, 1) * window
    return np.clip(found, 0, 1)


def lost(rows: list[Shown], draw: np.random.Generator) -> list[Shown]:
    at = int(draw.integers(5, len(rows) - 30))
    return [*rows[:at], *rows[at + 1 :]]


def doubled(rows: list[Shown], draw: np.random.Generator) -> list[Shown]:
    at = int(draw.integers(5, len(rows) - 30))
    return [*rows[:at], rows[at], *rows[at:-1]]


def slipped(rows: list[Shown], draw: np.random.Generator) -> list[Shown]:
    """A shot of 24 places or more shows its source some frames off."""
    at, by = int(draw.integers(5, len(rows) - 30)), int(draw.choice([-3, -2, -1, 1, 2, 3]))
    long = int(draw.integers(24, 30))
    return [
        Shown(row.reel, min(max(row.frame + by, 0), 249)) if at <= place < at + long else row
        for place, row in enumerate(rows)
    ]


def swapped(rows: list[Shown], draw: np.random.Generator) -> list[Shown]:
    """Two short runs of four places in each other's place."""
    at = int(draw.integers(5, len(rows) - 30))
    return [*rows[:at], *rows[at + 4 : at + 8], *rows[at : at + 4], *rows[at + 8 :]]


def single(rows: list[Shown], draw: np.random.Generator) -> list[Shown]:
    """One place shows a frame six off."""
    at = int(draw.integers(10, len(rows) - 30))
    return [Shown(row.reel, min(row.frame + 6, 249)) if place == at else row for place, row in enumerate(rows)]


WRONGS: dict[str, Wrong | None] = {
    "nothing wrong": None, "a frame lost": lost, "a frame doubled": doubled, "a shot slipped": slipped,
    "two runs swapped": swapped, "one frame wrong": single,
}  # fmt: skip


def trial(tones: np.ndarray, wrong: Wrong | None, draw: np.random.Generator) -> tuple[bool, bool, int, int, int]:
    """Return whether the wrong was caught, and blocked; of how many places how many right ones were named, blocked."""
    speed = draw.choice([16, 18, 20, 24])
    length = int(draw.integers(150, 240))
    event = Event(A, int(draw.integers(0, 250 - length * speed // 24)), length, Fraction(int(speed)))
    wanted = list(CutList(Fraction(24), (event,)).shown())
    shown = wrong(wanted, draw) if wrong else wanted
    came = GreyReel(np.arange(len(shown)), small(graded(tones, [each.frame for each in shown], draw)))
    source = GreyReel(np.arange(250), small(worn(tones, draw)))
    found = match(wanted, came, {A: source})
    bad = {place for place, each in enumerate(shown) if each != wanted[place]}
    named = {each.place for each in found.matches} | set(found.unlike)
    plain = [
        run
        for run in runs(found.matches)
        if sureness(run) >= SURE and sum(each.gain for each in run) >= PLAIN * found.price
    ]
    blocked = {each.place for run in plain for each in run}
    return bool(named & bad), bool(blocked & bad), len(wanted), len(named - bad), len(blocked - bad)


def main() -> None:
    tones, trials = luma(Path(sys.argv[1])), int(sys.argv[2]) if len(sys.argv) > 2 else 100
    print("| | caught | and blocked | places | right ones named | and blocked | ms a place |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, wrong in WRONGS.items():
        began = time.process_time()
        told = [trial(tones, wrong, np.random.default_rng([7, number])) for number in range(trials)]
        caught, blocks, places, named, blocked = (sum(each) for each in zip(*told, strict=True))
        took = (time.process_time() - began) / places * 1000
        shown = f"{caught}/{trials} | {blocks}/{trials}" if wrong else "- | -"
        print(f"| {name} | {shown} | {places} | {named} | {blocked} | {took:.1f} |", flush=True)


if __name__ == "__main__":
    main()
