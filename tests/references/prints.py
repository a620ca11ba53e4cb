"""Two prints of one invented reel, each with its own losses and damage, as thumbnails; and which frame is which.

Scenes are drawn from a seed: still titles, pans, loops of action, slow action, quick action. Nothing here is taken from
the aligner: damage is printed through kernels at a larger size, and the truth is the number of the source frame.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Pictures = NDArray[np.float32]

HIGH, WIDE = 60, 80  # of a source frame; thumbnails are 48 x 64
ROWS, COLUMNS = 48, 64


@dataclass(frozen=True)
class Level:
    """How bad prints are. Lengths in thumbnail pixels, tones of 1, counts for 1,000 frames."""

    crop: float
    """The most of the height or width that is lost or added by crop and shrinkage."""
    weave: float
    blur: float
    gain: float
    gamma: float
    flicker: float
    grain: float
    dust: float
    scratches: float
    decay: float
    gaps: float
    longest: int
    repeats: float
    joins: float
    """The share of cuts at which a splice took frames."""
    lost: float
    moved: float
    retitled: float


LEVELS = {
    "mild": Level(0.02, 0.1, 0.5, 0.1, 0.1, 0.01, 0.006, 0.5, 0.5, 0.05, 1.5, 30, 1.0, 0.2, 0.3, 0.0, 0.3),
    "medium": Level(0.05, 0.25, 0.8, 0.2, 0.25, 0.03, 0.012, 1.5, 1.5, 0.25, 3.0, 45, 2.0, 0.4, 0.6, 0.35, 0.6),
    "severe": Level(0.09, 0.5, 1.2, 0.35, 0.5, 0.06, 0.025, 4.0, 4.0, 0.6, 5.0, 60, 4.0, 0.6, 1.2, 0.7, 1.0),
}


@dataclass(frozen=True)
class Print:
    grey: NDArray[np.uint8]
    source: NDArray[np.int64]
    """Which source frame each frame shows; titles that were replaced have numbers of their own."""


@dataclass(frozen=True)
class Source:
    """Shots of one reel, drawn when they are asked for."""

    first: NDArray[np.int64]
    """The source number with which each shot begins; one more at the end."""
    draw: Callable[[int, NDArray[np.int64]], Pictures]
    """Frames of a shot, by their number in the shot."""
    is_title: NDArray[np.bool_]

    def look(self, source: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return what each source frame looks like: frames of one still run look the same."""
        shot = np.searchsorted(self.first, source, side="right") - 1
        known = (source >= 0) & (source < self.first[-1])
        still = known & self.is_title[np.clip(shot, 0, len(self.is_title) - 1)]
        return np.where(still, -1 - shot, source)


def drawn_source(seed: int, frames: int) -> Source:
    """Return an invented reel of `frames` frames."""
    rng = np.random.default_rng([seed, 1])
    first, kinds = [0], []
    while first[-1] < frames:
        kind = rng.choice(["title", "pan", "loop", "slow", "quick", "sway"], p=[0.1, 0.2, 0.15, 0.2, 0.2, 0.15])
        length = int(rng.integers(40, 90) if kind == "title" else rng.integers(25, 220))
        first.append(min(frames, first[-1] + length))
        kinds.append(str(kind))
    shots = [_Shot(seed, number, kind) for number, kind in enumerate(kinds)]
    return Source(np.array(first), lambda shot, at: shots[shot].draw(at), np.array([kind == "title" for kind in kinds]))


def filmed_source(grey: NDArray[np.uint8], cuts: list[int]) -> Source:
    """Return frames of a real clip, already (n, HIGH, WIDE), as a source."""
    first = np.array([0, *cuts, len(grey)])
    pictures = grey.astype(np.float32) / 255
    return Source(first, lambda shot, at: pictures[first[shot] + at], np.zeros(len(cuts) + 1, bool))


class _Shot:
    def __init__(self, seed: int, number: int, kind: str) -> None:
        rng = np.random.default_rng([seed, 2, number])
        self.kind = kind
        self.ground = _title(rng) if kind == "title" else _texture(rng, HIGH + 120, WIDE + 160)
        self.start = rng.uniform(40, 80, 2)
        angle, pace = rng.uniform(0, 2 * np.pi), rng.uniform(0.15, 0.8)
        self.pace = np.array([np.sin(angle) * 0.3, np.cos(angle)]) * (pace if kind == "pan" else 0)
        self.actors = [_Actor(rng, kind) for _ in range(0 if kind == "title" else rng.integers(1, 5))]

    def draw(self, at: NDArray[np.int64]) -> Pictures:
        if self.kind == "title":
            return np.repeat(self.ground[None], len(at), axis=0)
        sway = 12 * np.sin(at / 30)[:, None] * np.array([0.2, 1.0]) if self.kind == "sway" else 0
        corner = np.clip(self.start + at[:, None] * self.pace + sway, 1, [117, 157])
        pictures = np.stack([_window(self.ground, *place) for place in corner])
        for actor in self.actors:
            actor.paint(pictures, at)
        return pictures


class _Actor:
    """A textured blob that goes its way: a straight line, a loop, or hardly anywhere."""

    def __init__(self, rng: np.random.Generator, kind: str) -> None:
        self.size = rng.uniform(3, 10, 2)
        self.skin = _texture(rng, 64, 64)
        self.tone = rng.uniform(0, 1)
        self.home = rng.uniform([10, 10], [HIGH - 10, WIDE - 10])
        reach, beat = {"slow": (2.5, 60), "loop": (9, 14), "quick": (20, 35)}.get(kind, (8, 30))
        self.reach = rng.uniform(0.4, 1.0, (2, 2)) * reach
        self.beat = rng.uniform(0.7, 1.4, (2, 2)) * beat
        self.phase = rng.uniform(0, 6.28, (2, 2))
        self.is_loop = kind == "loop"

    def paint(self, pictures: Pictures, at: NDArray[np.int64]) -> None:
        waves = self.reach * np.sin(2 * np.pi * at[:, None, None] / self.beat + self.phase)
        centre = self.home + (waves[:, :, 0] if self.is_loop else waves.sum(axis=2))
        down = (np.arange(HIGH) - centre[:, :1]) / self.size[0]
        across = (np.arange(WIDE) - centre[:, 1:]) / self.size[1]
        cover = np.exp(-0.5 * (down**4)[:, :, None]) * np.exp(-0.5 * (across**4)[:, None, :])
        rows = np.clip(down * 10 + 32, 0, 63).astype(int)[:, :, None]
        columns = np.clip(across * 10 + 32, 0, 63).astype(int)[:, None, :]
        skin = 0.6 * self.skin[rows, columns] + 0.4 * self.tone
        pictures += ((skin - pictures) * cover).astype(np.float32)


def _texture(rng: np.random.Generator, high: int, wide: int) -> Pictures:
    total = np.zeros((high, wide), np.float32)
    for size in (3, 7, 16, 40):
        coarse = rng.normal(size=(high // size + 3, wide // size + 3))
        total += size**0.5 * _kernel(np.arange(high) / size + 1, coarse.shape[0], 0.6) @ coarse @ _kernel(
            np.arange(wide) / size + 1, coarse.shape[1], 0.6
        ).T  # fmt: skip
    low, top = np.quantile(total, [0.01, 0.99])
    return np.clip((total - low) / (top - low), 0, 1).astype(np.float32)


def _title(rng: np.random.Generator) -> Pictures:
    page = np.full((HIGH, WIDE), 0.06, np.float32)
    for row in range(int(rng.integers(8, 20)), HIGH - 10, 8):
        left = int(rng.integers(6, 25))
        while left < WIDE - 10 and rng.random() > 0.12:
            word = int(rng.integers(2, 9))
            page[row : row + 4, left : left + word] = rng.uniform(0.6, 0.95)
            left += word + 2
    return page


def _window(ground: Pictures, top: float, left: float) -> Pictures:
    row, column = int(top), int(left)
    down, across = top - row, left - column
    part = ground[row : row + HIGH + 1, column : column + WIDE + 1]
    part = part[:-1] * (1 - down) + part[1:] * down
    return np.asarray(part[:, :-1] * (1 - across) + part[:, 1:] * across, np.float32)


def _kernel(places: NDArray[np.float64], count: int, width: float) -> NDArray[np.float64]:
    """Return weights (..., places, count): what each place sees of `count` samples through a lens `width` wide."""
    weight = np.exp(-0.5 * ((places[..., None] - np.arange(count)) / width) ** 2)
    return weight / (weight.sum(axis=-1, keepdims=True) + 1e-12)


def struck(seed: int, source: Source, level: Level, which: int) -> Print:
    """Return print number `which` of `source`: what it lost, and how it looks."""
    rng = np.random.default_rng([seed, 3, which])
    shown = _cut_up(rng, source, level)
    return Print(_printed(rng, source, level, shown), shown)


def _cut_up(rng: np.random.Generator, source: Source, level: Level) -> NDArray[np.int64]:
    """Return the source frames of a print, in its order."""
    count = len(source.first) - 1
    frames, thousand = int(source.first[-1]), source.first[-1] / 1000
    shots = [list(range(source.first[each], source.first[each + 1])) for each in range(count)]
    for each in range(count):
        if rng.random() < level.joins:
            head, tail = rng.integers(0, 4, 2)
            shots[each] = shots[each][head : len(shots[each]) - tail]
    for each in rng.choice(count, min(count // 4, rng.poisson(level.lost * thousand)), replace=False):
        shots[each] = []
    for each in np.flatnonzero(source.is_title):
        if rng.random() < level.retitled / 2:
            fresh = frames + 1000 * int(rng.integers(1, 10**6))
            shots[each] = list(range(fresh, fresh + int(rng.integers(30, 80))))
    for each in rng.choice(count, min(count // 4, rng.poisson(level.moved * thousand)), replace=False):
        shots.insert(int(rng.integers(0, count)), shots.pop(each))
    order = [frame for shot in shots for frame in shot]
    for _ in range(rng.poisson(level.gaps * thousand)):
        at, long = int(rng.integers(0, len(order))), int(np.exp(rng.uniform(0, np.log(level.longest))))
        del order[at : at + long]
    for _ in range(rng.poisson(level.repeats * thousand)):
        at = int(rng.integers(0, len(order)))
        order[at:at] = [order[at]] * int(rng.integers(1, 3))
    return np.array(order, np.int64)


def _printed(rng: np.random.Generator, source: Source, level: Level, shown: NDArray[np.int64]) -> NDArray[np.uint8]:
    zoom = 1 + rng.uniform(-level.crop, level.crop, 2)
    push = rng.uniform(-level.crop, level.crop, 2) * [ROWS, COLUMNS] * 0.5
    weave = rng.normal(0, level.weave, (len(shown), 2)) + push
    gain, gamma = 1 + rng.uniform(-level.gain, level.gain), np.exp(rng.uniform(-level.gamma, level.gamma))
    lens = 0.6 + rng.uniform(0.2, 1) * level.blur
    blots = _Blots(rng, level, len(shown))
    out = np.empty((len(shown), ROWS, COLUMNS), np.uint8)
    for start in range(0, len(shown), 250):
        part = slice(start, min(start + 250, len(shown)))
        frames = _drawn(source, shown[part])
        rows = (np.arange(ROWS) - ROWS / 2 + 0.5) * zoom[0] + weave[part, :1]
        columns = (np.arange(COLUMNS) - COLUMNS / 2 + 0.5) * zoom[1] + weave[part, 1:]
        down = _kernel(rows * 1.2 + HIGH / 2 - 0.5, HIGH, lens * 1.25).astype(np.float32)
        across = _kernel(columns * 1.2 + WIDE / 2 - 0.5, WIDE, lens * 1.25).astype(np.float32)
        seen = down @ frames @ across.transpose(0, 2, 1)
        flicker = 1 + rng.normal(0, level.flicker, (len(seen), 1, 1))
        seen = 0.04 + 0.9 * gain * flicker * np.clip(seen, 0, 1) ** gamma
        seen += rng.normal(0, level.grain, seen.shape)
        blots.stain(seen, start)
        out[part] = np.clip(seen * 255, 0, 255)
    return out


def _drawn(source: Source, shown: NDArray[np.int64]) -> Pictures:
    frames = np.empty((len(shown), HIGH, WIDE), np.float32)
    shot = np.searchsorted(source.first, shown, side="right") - 1
    for each in np.unique(shot):
        there = shot == each
        if each >= len(source.first) - 1:
            for title in np.unique(shown[there] // 1000):
                here = shown // 1000 == title
                frames[here] = _title(np.random.default_rng([7, int(title)]))
            continue
        frames[there] = source.draw(int(each), shown[there] - source.first[each])
    return frames


class _Blots:
    """Dust on single frames, scratches that run on for a while, decay that eats at a stretch."""

    def __init__(self, rng: np.random.Generator, level: Level, frames: int) -> None:
        self.rng, self.level = rng, level
        many = rng.poisson(level.scratches * frames / 300)
        self.scratches = [
            (int(rng.integers(0, frames)), int(rng.integers(20, 200)), rng.uniform(0, COLUMNS), rng.normal(0, 0.05), t)
            for t in rng.choice([-0.35, 0.4], many)
        ]
        self.stretches, left = [], level.decay * frames / 3
        while left > 0:
            long = int(rng.integers(30, 300))
            self.stretches.append((int(rng.integers(0, frames)), long, rng.uniform(0, 100, 3)))
            left -= long

    def stain(self, seen: NDArray[np.float64], start: int) -> None:
        for first, long, where, drift, tone in self.scratches:
            for at in range(max(first, start), min(first + long, start + len(seen))):
                column = int(where + drift * (at - first)) % COLUMNS
                seen[at - start, :, column] += tone * self.rng.uniform(0.5, 1)
        for first, long, phase in self.stretches:
            at = np.arange(max(first, start), min(first + long, start + len(seen)))
            if len(at):
                seen[at - start] *= 1 - self.level.decay * _rot(at, phase)
        for each in range(len(seen)):
            for _ in range(self.rng.poisson(self.level.dust)):
                row, column = self.rng.integers(0, [ROWS - 3, COLUMNS - 3])
                high, wide = self.rng.integers(1, 4, 2)
                seen[each, row : row + high, column : column + wide] = self.rng.choice([0.02, 0.97])


def _rot(at: NDArray[np.int64], phase: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return stains (frames, rows, columns), 0 to 1, that creep and boil."""
    rows, columns = np.arange(ROWS)[None, :, None] / 9, np.arange(COLUMNS)[None, None, :] / 11
    time = at[:, None, None]
    field = np.sin(rows + phase[0] + time * 0.05) + np.sin(columns + phase[1] - time * 0.08)
    field = field + np.sin(rows * 1.7 - columns * 1.3 + phase[2] + time * 0.6)
    return np.asarray(np.clip(field - 0.8, 0, 1.5) / 1.5)
