"""Invented film for tests of what came back: shots of a few bright things that move, each in a way of its own."""

import numpy as np
from numpy.typing import NDArray

from relay.media.thumbnails import COLUMNS, ROWS, GreyReel
from relay.model import ReelName
from relay.programme.cutlist import Shown

A, B = ReelName("A/R01"), ReelName("B/R02")


def film(frames: int, seed: int, shot: int = 40) -> GreyReel:
    """Draw `frames` thumbnails, numbered from 0."""
    rows, columns = np.mgrid[0:ROWS, 0:COLUMNS]
    grey = np.empty((frames, ROWS, COLUMNS))
    for frame in range(frames):
        draw = np.random.default_rng([seed, frame // shot])
        picture = 90 + 40 * np.sin(rows / draw.uniform(4, 9) + columns / draw.uniform(4, 9))
        for _ in range(4):
            row, column = draw.uniform(8, 40) + frame % shot * draw.uniform(-0.6, 0.6), draw.uniform(8, 56)
            column += frame % shot * draw.choice([-1.2, -0.8, 0.8, 1.2])
            picture += draw.uniform(40, 90) * np.exp(-((rows - row) ** 2 + (columns - column) ** 2) / 18)
        grey[frame] = picture
    return GreyReel(np.arange(frames), np.clip(grey, 0, 255).astype(np.uint8))


def returned(shown: list[Shown], sources: dict[ReelName, GreyReel], seed: int = 0) -> GreyReel:
    """Return what a lab makes of `shown`: another contrast and tone for each reel, and grain."""
    draw = np.random.default_rng(seed)
    looks = {reel: (draw.uniform(0.6, 1.6), draw.uniform(0.7, 1.2), draw.uniform(-20, 20)) for reel in sources}
    made: list[NDArray[np.float64]] = []
    for reel, frame in shown:
        gamma, gain, lift = looks[reel]
        tones = (sources[reel].grey[frame] / 255) ** gamma * 255 * gain + lift
        made.append(tones + draw.normal(0, 2, tones.shape))
    return GreyReel(np.arange(len(shown)), np.clip(np.stack(made), 0, 255).astype(np.uint8))
