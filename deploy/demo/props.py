"""What the scenes of the demo's film share: sky, sea, people, a boat. `t` is in seconds."""

from math import cos, pi, sin

import numpy as np

from deploy.demo.canvas import SAMPLES, STEP, Canvas, Point, Tones, X, Y
from deploy.demo.lettering import line_of


def rise(x: Tones, start: float, end: float) -> Tones:
    """A smooth step from 0 at `start` to 1 at `end`."""
    part: Tones = np.clip((x - start) / (end - start), 0, 1)
    return part * part * (3 - 2 * part)


def stars(picture: Canvas, rng: np.random.Generator) -> None:
    for _ in range(60):
        picture.disc((rng.uniform(-1.33, 1.33), rng.uniform(-0.1, 1)), 0.004, rng.uniform(0.4, 0.9), soft=0.01)


def clouds(picture: Canvas, t: float, rng: np.random.Generator, tone: float) -> None:
    for _ in range(5):
        x, y, size = rng.uniform(-1.5, 1.5), rng.uniform(0.35, 0.9), rng.uniform(0.10, 0.19)
        for lump in range(5):
            centre = (x + (lump - 2) * size * 0.8 + 0.06 * t, y + 0.04 * sin(lump * 2.2))
            picture.disc(centre, size * (1 - 0.17 * abs(lump - 2)), tone, soft=size * 0.8)


def gulls(picture: Canvas, t: float, rng: np.random.Generator) -> None:
    for _ in range(4):
        x, y = rng.uniform(-1, 0.9) + 0.35 * t, rng.uniform(0.2, 0.75)
        beat, span = rng.uniform(0, 2 * pi), rng.uniform(0.05, 0.08)
        lift = 0.6 * span * sin(9 * t + beat)
        picture.rod((x, y), (x - span, y + lift), 0.006, 0.22)
        picture.rod((x, y), (x + span, y + lift), 0.006, 0.22)


def hills(picture: Canvas, rng: np.random.Generator, passed: float, heights: Point, tones: Point) -> None:
    for height, tone in zip(heights, tones, strict=True):
        a, b = rng.uniform(0, 2 * pi, 2)
        ridge = height + 0.13 * np.sin((X + passed) * 2.3 + a) + 0.05 * np.sin((X + passed) * 5.9 + b)
        picture.below(ridge.astype(np.float32), tone)


def sea(picture: Canvas, t: float, horizon: float, dark: float = 0.14, bright: float = 0.5) -> None:
    """Flat water with glints that lie wider and further apart towards the viewer."""
    picture.below(horizon + 0 * X, dark)
    rows = Y[:, 0] < horizon - STEP
    near = horizon - Y[rows]
    depth = 16 * np.log(near)
    across = X / (0.12 + near)
    ripple = np.sin(3.1 * across + depth + 2.1 * t) + np.sin(7.3 * across - 0.7 * depth - 3.7 * t)
    ripple += np.sin(1.7 * depth + 1.9 * t + 2 * np.sin(1.3 * across))
    picture.tones[rows] += (bright - dark) * np.clip(ripple - 1.2, 0, 1) * np.exp(-np.square(X / 0.8))


def beam(picture: Canvas, lantern: Point, turn: float) -> None:
    """The light of a lamp that turns about an upright axis, seen from the side."""
    dx, dy = X - lantern[0], Y - lantern[1]
    far = np.hypot(dx, dy)
    for side in (1, -1):
        along = side * cos(turn)
        if along > 0.03:
            off = np.abs(dy + 0.05 * dx) / np.maximum(np.abs(dx), STEP)
            ahead = dx < 0 if side > 0 else dx > 0
            spread = 0.05 + 0.10 * (1 - along)
            ray = ahead * np.exp(-np.square(off / spread)) * np.exp(-far / (0.3 + 1.5 * along))
            picture.tones += np.float32(0.75) * ray.astype(np.float32)
    picture.glow(lantern, 0.10, 0.5 + 0.5 * abs(sin(turn)) ** 4)
    picture.glow(lantern, 0.45, 0.35 * max(sin(turn), 0) ** 6)


def boat(picture: Canvas, t: float, height: float, roll: float = 0.14) -> None:
    lean = roll * sin(2.3 * t + 0.4)
    x, y = -0.25 + 0.10 * t, height + 0.03 * sin(2.6 * t)

    def at(along: float, up: float) -> Point:
        return x + along * cos(lean) - up * sin(lean), y + along * sin(lean) + up * cos(lean)

    picture.rod(at(0, 0), at(0, 0.62), 0.010, 0.16)
    picture.plate([at(0.03, 0.12), at(0.36, 0.14), at(0.03, 0.60)], 0.93)
    picture.plate([at(-0.03, 0.12), at(-0.03, 0.50), at(-0.22, 0.14)], 0.80)
    picture.plate([at(-0.24, -0.10), at(0.26, -0.10), at(0.40, 0.09), at(-0.34, 0.07)], 0.13)
    picture.rod(at(-0.33, 0.065), at(0.39, 0.085), 0.012, 0.55)


def rolling_wheel(picture: Canvas, hub: Point, radius: float, turn: float) -> None:
    picture.disc(hub, radius, 0.08)
    picture.ring(hub, radius * 0.8, 0.006, 0.45)
    for spoke in range(3):
        angle = spoke * pi / 3 - turn
        across, up = 0.75 * radius * cos(angle), 0.75 * radius * sin(angle)
        picture.rod((hub[0] - across, hub[1] - up), (hub[0] + across, hub[1] + up), 0.005, 0.45)


def locomotive(picture: Canvas, front: float, turn: float) -> None:
    """A tank engine that runs to the left, its nose at `front`."""
    picture.block(front + 0.03, -0.06, front + 0.40, 0.12, 0.10)
    picture.disc((front + 0.03, 0.03), 0.09, 0.10)
    picture.plate([(front + 0.09, 0.1), (front + 0.15, 0.1), (front + 0.17, 0.27), (front + 0.07, 0.27)], 0.10)
    picture.disc((front + 0.27, 0.12), 0.04, 0.10)
    picture.block(front + 0.36, -0.08, front + 0.56, 0.22, 0.12)
    picture.block(front + 0.41, 0.09, front + 0.51, 0.18, 0.80)
    picture.block(front + 0.33, 0.21, front + 0.59, 0.25, 0.10)
    hubs = [(front + along, -0.10) for along in (0.09, 0.25, 0.44)]
    for hub in hubs:
        rolling_wheel(picture, hub, 0.078, turn)
    crank = (0.04 * cos(turn), -0.04 * sin(turn))
    picture.rod((hubs[0][0] + crank[0], -0.1 + crank[1]), (hubs[2][0] + crank[0], -0.1 + crank[1]), 0.009, 0.6)


def person(picture: Canvas, t: float, feet: Point, size: float = 1.0, *, lit: bool = True) -> None:
    """Someone in coat and hat who walks to the right with a lantern, `lit` or not."""
    step = 5.2 * t
    bounce = 0.012 * abs(cos(step))

    def at(along: float, up: float) -> Point:
        return feet[0] + size * along, feet[1] + size * (up + bounce)

    for swing in (0.34 * sin(step), -0.34 * sin(step)):
        knee = at(0.14 * sin(swing) + 0.01, 0.15)
        heel = at(0.30 * sin(swing) - 0.02 * cos(step), 0.015 + 0.03 * max(cos(step) * swing, 0))
        picture.rod(at(0, 0.30), knee, 0.027 * size, 0.05)
        picture.rod(knee, heel, 0.021 * size, 0.05)
        picture.rod(heel, (heel[0] + 0.045 * size, heel[1]), 0.014 * size, 0.05)
    sway = 0.02 * sin(step)
    picture.plate([at(-0.10 - sway, 0.20), at(0.09 - sway, 0.20), at(0.055, 0.56), at(-0.05, 0.56)], 0.06)
    picture.disc(at(0.012, 0.625), 0.052 * size, 0.40)
    picture.block(*at(-0.075, 0.65), *at(0.085, 0.667), 0.05)
    picture.block(*at(-0.045, 0.66), *at(0.05, 0.74), 0.05)
    hand = at(0.17 + 0.03 * sin(step), 0.33)
    picture.rod(at(0.0, 0.51), hand, 0.021 * size, 0.08)
    light = (hand[0], hand[1] - 0.07 * size)
    picture.rod(hand, light, 0.004 * size, 0.05)
    picture.disc(light, 0.024 * size, 0.98 if lit else 0.05)
    if lit:
        picture.glow(light, 0.16 * size, 0.5)


def candle(picture: Canvas, t: float, foot: Point) -> None:
    x, y = foot
    waver = 0.010 * sin(17 * t) + 0.006 * sin(29 * t + 1)
    picture.block(x - 0.16, y - 0.03, x + 0.16, y, 0.34)
    picture.block(x - 0.05, y, x + 0.05, y + 0.42, 0.80)
    picture.rod((x, y + 0.42), (x, y + 0.46), 0.006, 0.1)
    picture.glow((x + waver, y + 0.54), 0.07, 0.6)
    picture.glow((x, y + 0.5), 0.85, 0.24 + 2 * waver)
    picture.rod((x, y + 0.48), (x + waver, y + 0.56), 0.022, 0.98)


def border(picture: Canvas, across: float, up: float, half: float, tone: float) -> None:
    corners = [(-across, -up), (across, -up), (across, up), (-across, up)]
    for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
        picture.rod(start, end, half, tone)


def centred(picture: Canvas, words: str, row: int, dot: int, tone: float) -> None:
    """Letter `words` across the middle, their upper edge at `row`."""
    ink = line_of(words, dot)
    if ink.shape[1] > SAMPLES:
        raise ValueError(f"{words!r} is {ink.shape[1]} samples wide at {dot} a dot: the picture has {SAMPLES}")
    picture.stamp(ink, row, (SAMPLES - ink.shape[1]) // 2, tone)
