"""The little scenes of the demo's film. Each draws what the camera saw `t` seconds into its shot.

`rng` is new and equally seeded for every frame, so that what a scene draws from it stands still through the shot.
"""

from collections.abc import Callable
from itertools import pairwise
from math import cos, pi, sin

import numpy as np

from deploy.demo.canvas import LINES, Canvas, Point, X, Y
from deploy.demo.props import (
    beam,
    boat,
    border,
    candle,
    centred,
    clouds,
    gulls,
    hills,
    locomotive,
    person,
    rise,
    rolling_wheel,
    sea,
    stars,
)

Scene = Callable[[float, np.random.Generator], Canvas]


def lamp(t: float, rng: np.random.Generator) -> Canvas:
    """Night: a lighthouse turns its beam over the sea."""
    picture = Canvas(top=0.10, bottom=0.46)
    stars(picture, rng)
    sea(picture, t, horizon=-0.32)
    picture.below(-1.06 + 1.25 * rise(X, -0.35, 0.95) + 0.02 * np.sin(X * 23), 0.05)
    picture.plate([(0.66, 0.10), (0.94, 0.10), (0.88, 0.62), (0.72, 0.62)], 0.62)
    for band in (0.20, 0.42):
        picture.plate([(0.675, band), (0.925, band), (0.915, band + 0.09), (0.685, band + 0.09)], 0.28)
    picture.block(0.69, 0.62, 0.91, 0.645, 0.2)
    picture.block(0.735, 0.645, 0.865, 0.745, 0.75)
    picture.plate([(0.70, 0.745), (0.90, 0.745), (0.80, 0.84)], 0.16)
    beam(picture, (0.80, 0.695), turn=3.2 * t - 0.9)
    return picture


def ferry(t: float, rng: np.random.Generator) -> Canvas:
    """Day: a small boat rides the swell."""
    picture = Canvas(top=0.50, bottom=0.86)
    clouds(picture, t, rng, tone=0.92)
    gulls(picture, t, rng)
    for layer in range(5):
        height = -0.10 - 0.18 * layer
        if layer == 2:
            boat(picture, t, height + 0.05)
        phase = float(rng.uniform(0, 2 * pi)) + t * (1.3 + 0.35 * layer)
        curve = height + 0.035 * (1 + 0.4 * layer) * np.sin(X * (7.5 - layer) + phase)
        curve += 0.012 * np.sin(X * 19 - 1.7 * phase)
        picture.below(curve.astype(np.float32), 0.52 - 0.08 * layer, crest=0.82 - 0.07 * layer)
    return picture


def train(t: float, rng: np.random.Generator) -> Canvas:
    """Day: a train crosses a trestle."""
    picture = Canvas(top=0.62, bottom=0.9)
    clouds(picture, t, rng, tone=0.95)
    hills(picture, rng, t * 0.05, heights=(-0.02, -0.22), tones=(0.66, 0.5))
    front = 0.95 - 0.75 * t
    for puff in range(9):
        age = puff * 0.16 + (t * 1.4) % 0.16
        picture.disc(
            (front + 0.12 + 0.9 * age, 0.30 + 0.30 * age), 0.05 + 0.10 * age, 0.93 - 0.1 * age, soft=0.05 + 0.1 * age
        )
    locomotive(picture, front, turn=t * 9)
    for wagon in range(5):
        left = front + 0.60 + 0.47 * wagon
        picture.block(left, -0.08, left + 0.42, 0.13 + 0.05 * (wagon % 2), 0.14 + 0.05 * (wagon % 3))
        for wheel in (0.09, 0.33):
            rolling_wheel(picture, (left + wheel, -0.12), 0.055, t * 13)
    picture.block(-1.34, -0.24, 1.34, -0.175, 0.13)
    for post in np.arange(-1.2, 1.4, 0.4):
        picture.rod((post, -0.2), (post - 0.07, -1), 0.022, 0.13)
        picture.rod((post, -0.2), (post + 0.07, -1), 0.022, 0.13)
        picture.rod((post - 0.03, -0.6), (post + 0.03, -0.6), 0.015, 0.13)
    picture.below(-0.83 + 0.04 * np.sin(X * 5 + 1), 0.3)
    return picture


def walker(t: float, rng: np.random.Generator) -> Canvas:
    """Dusk: someone with a lantern walks home through the snow."""
    picture = Canvas(top=0.20, bottom=0.52)
    passed = 0.30 * t
    for house in range(7):
        left = -1.6 + 0.62 * house - passed
        width, eaves = float(rng.uniform(0.42, 0.6)), float(rng.uniform(0.05, 0.35))
        tone = float(rng.uniform(0.17, 0.27))
        picture.block(left, -0.6, left + width, eaves, tone)
        picture.plate([(left - 0.04, eaves), (left + width + 0.04, eaves), (left + width / 2, eaves + 0.26)], tone)
        for pane in (0.09, width - 0.2):
            lit = 0.85 if rng.random() < 0.55 else 0.05
            picture.block(left + pane, eaves - 0.24, left + pane + 0.11, eaves - 0.08, lit)
    picture.below(-0.55 + 0.02 * np.sin((X + passed) * 6), 0.74)
    person(picture, t, (-0.1, -0.62))
    for _ in range(90):
        x, y, near = rng.uniform(-1.4, 1.4), rng.uniform(-1, 1), rng.uniform(0.5, 1.0)
        fallen = (y - 0.75 * near * t + 1) % 2 - 1
        picture.disc((x + 0.04 * sin(3 * t + 9 * y) - passed * near, fallen), 0.011 * near, 0.92, soft=0.012)
    return picture


def letter(t: float, rng: np.random.Generator) -> Canvas:
    """By candle light, a letter is written."""
    picture = Canvas(top=0.05, bottom=0.24)
    picture.plate([(-0.95, -0.92), (0.45, -0.78), (0.30, 0.34), (-0.80, 0.22)], 0.70)
    written = 0.9 + t * 1.1
    pen: Point = (0.0, 0.0)
    for line in range(7):
        top = 0.08 - 0.135 * line
        length = min(max(written - 0.45 * line, 0), 0.45) / 0.45 * float(rng.uniform(0.78, 0.98))
        strokes = np.arange(0, length, 0.032)
        ends = [(-0.72 - 0.012 * line + s, top + 0.10 * s + 0.016 * sin(41 * s + line * 5)) for s in strokes]
        for start, end in pairwise(ends):
            picture.rod(start, end, 0.006, 0.2)
        pen = ends[-1] if ends else pen
    picture.rod((pen[0] + 0.01, pen[1] + 0.01), (pen[0] + 0.34, pen[1] + 0.52), 0.008, 0.12)
    picture.plate([(pen[0] + 0.2, pen[1] + 0.27), (pen[0] + 0.46, pen[1] + 0.62), (pen[0] + 0.28, pen[1] + 0.56)], 0.86)
    candle(picture, t, (0.86, -0.45))
    return picture


def clock(t: float, rng: np.random.Generator) -> Canvas:
    """Close: a clock, late at night."""
    picture = Canvas(top=0.16, bottom=0.08)
    swing = 0.42 * sin(t * 3.6)
    bob = (1.05 * sin(swing), 0.12 - 1.02 * cos(swing))
    picture.block(-0.62, -1, 0.62, 1, 0.2)
    picture.block(-0.55, -1, 0.55, 0.9, 0.11)
    picture.rod((0, 0.12), bob, 0.014, 0.55)
    picture.disc(bob, 0.13, 0.72)
    picture.disc((bob[0] - 0.03, bob[1] + 0.03), 0.07, 0.88, soft=0.08)
    picture.disc((0, 0.3), 0.53, 0.36)
    picture.disc((0, 0.3), 0.49, 0.86)
    for hour in range(12):
        way = (sin(hour * pi / 6), cos(hour * pi / 6))
        inner = 0.37 if hour % 3 == 0 else 0.41
        picture.rod((inner * way[0], 0.3 + inner * way[1]), (0.45 * way[0], 0.3 + 0.45 * way[1]), 0.012, 0.1)
    for length, half, turn in ((0.40, 0.012, -0.5 + t * 0.25), (0.26, 0.02, -0.1 + t * 0.02)):
        picture.rod((0, 0.3), (length * sin(turn), 0.3 + length * cos(turn)), half, 0.08)
    picture.disc((0, 0.3), 0.03, 0.08)
    picture.glow((-0.8, 0.9), 0.9, 0.10 + 0.01 * float(rng.random()))
    return picture


def storm(t: float, rng: np.random.Generator) -> Canvas:
    """Night: the boat in heavy weather, with lightning."""
    flash = max(0.0, 1 - 6 * ((t + 0.25) % 0.9)) * 0.45
    picture = Canvas(top=0.12 + flash, bottom=0.34 + flash)
    clouds(picture, 2 * t, rng, tone=0.20 + flash)
    if flash > 0.1:
        bolt = [(0.5 + 0.09 * float(rng.normal()), 1 - 0.2 * step) for step in range(7)]
        for start, end in pairwise(bolt):
            picture.rod(start, end, 0.008, 1.0)
    for layer in range(4):
        height = -0.05 - 0.24 * layer
        if layer == 2:
            boat(picture, 1.7 * t, height + 0.06, roll=0.42)
        phase = float(rng.uniform(0, 2 * pi)) + 2.6 * t + layer
        swell = np.abs(np.sin(X * (2.6 - 0.3 * layer) + phase / 2))
        curve = height + 0.17 * (1 - swell) + 0.02 * np.sin(X * 17 - phase)
        picture.below(curve.astype(np.float32), 0.24 - 0.045 * layer + flash / 4, crest=0.5 - 0.06 * layer + flash / 2)
    for _ in range(130):
        x, y, long = rng.uniform(-1.4, 1.5), rng.uniform(-1, 1), rng.uniform(0.05, 0.12)
        fallen = (y - 3.1 * t + 1) % 2 - 1
        picture.rod((x, fallen), (x + 0.3 * long, fallen + long), 0.0025, 0.6)
    return picture


def wheel(t: float, rng: np.random.Generator) -> Canvas:
    """Night: the big wheel at the fair."""
    picture = Canvas(top=0.07, bottom=0.22)
    stars(picture, rng)
    hub, turn = (0.15, 0.08), 0.45 * t
    picture.rod(hub, (-0.25, -1), 0.025, 0.34)
    picture.rod(hub, (0.55, -1), 0.025, 0.34)
    for radius in (0.70, 0.58):
        picture.ring(hub, radius, 0.009, 0.6)
    for spoke in range(12):
        angle = turn + spoke * pi / 6
        rim = (hub[0] + 0.7 * cos(angle), hub[1] + 0.7 * sin(angle))
        picture.rod(hub, rim, 0.006, 0.5)
        picture.block(rim[0] - 0.055, rim[1] - 0.13, rim[0] + 0.055, rim[1] - 0.03, 0.45 + 0.25 * (spoke % 2))
        if (spoke + int(t * 10)) % 3:
            picture.glow(rim, 0.035, 0.9)
    picture.disc(hub, 0.06, 0.7)
    for tent in range(4):
        left, high = -1.4 + 0.72 * tent, -0.62 + 0.08 * (tent % 2)
        picture.block(left, -1, left + 0.6, high, 0.15)
        picture.plate([(left - 0.05, high), (left + 0.65, high), (left + 0.3, high + 0.2)], 0.2 + 0.06 * (tent % 2))
        picture.block(left + 0.22, -1, left + 0.38, high - 0.12, 0.72)
    picture.below(-0.93 + 0.0 * X, 0.08)
    return picture


def morning(t: float, rng: np.random.Generator) -> Canvas:
    """Morning: two people on the hill, and the boat far out."""
    picture = Canvas(top=0.45, bottom=0.92)
    picture.disc((-0.45, -0.02 + 0.10 * t), 0.17, 1.0, soft=0.03)
    picture.glow((-0.45, -0.02 + 0.10 * t), 0.55, 0.30)
    clouds(picture, t, rng, tone=0.9)
    sea(picture, t, horizon=-0.18, dark=0.55, bright=0.85)
    picture.plate([(-0.72 + 0.05 * t, -0.2), (-0.60 + 0.05 * t, -0.2), (-0.665 + 0.05 * t, -0.03)], 0.4)
    gulls(picture, t, rng)
    picture.below(-0.75 + 0.55 * rise(X, -0.6, 1.3) + 0.012 * np.sin(X * 31), 0.10)
    person(picture, t, (0.28, -0.42), size=0.55, lit=False)
    person(picture, t + 0.4, (0.60, -0.32), size=0.6, lit=False)
    return picture


def card(*lines: str, dot: int = 4) -> Scene:
    """Return the scene of an intertitle with `lines` of words, each dot of a letter `dot` samples wide."""

    def show(_t: float, _rng: np.random.Generator) -> Canvas:
        picture = Canvas(top=0.05, bottom=0.05)
        border(picture, 1.263, 0.93, 0.010, 0.8)
        border(picture, 1.223, 0.89, 0.004, 0.8)
        pitch = 13 * dot
        top = (LINES - pitch * len(lines)) // 2
        for line, words in enumerate(lines):
            centred(picture, words, top + line * pitch, dot, 0.92)
        picture.plate([(-0.05, -0.72), (0, -0.77), (0.05, -0.72), (0, -0.67)], 0.8)
        picture.rod((-0.4, -0.72), (-0.12, -0.72), 0.006, 0.8)
        picture.rod((0.12, -0.72), (0.4, -0.72), 0.006, 0.8)
        return picture

    return show


def start_mark(reel: int) -> Scene:
    """Return the leader's start mark: the frame from which the reel is counted."""

    def show(_t: float, _rng: np.random.Generator) -> Canvas:
        picture = Canvas(top=0.7, bottom=0.66)
        picture.ring((0, 0), 0.8, 0.012, 0.08)
        picture.rod((-0.56, -0.56), (0.56, 0.56), 0.012, 0.08)
        picture.rod((-0.56, 0.56), (0.56, -0.56), 0.012, 0.08)
        picture.disc((0, 0), 0.36, 0.7)
        centred(picture, "START", 190, 6, 0.06)
        centred(picture, f"REEL {reel}", 252, 4, 0.06)
        return picture

    return show


def iris(picture: Canvas, opened: float) -> None:
    """Close a round mask over `picture`: 1 shows all of it, 0 nothing."""
    outside = np.hypot(X, Y) - np.float32(1.75 * opened)
    picture.tones *= np.clip(0.5 - outside / np.float32(0.12), 0, 1)
