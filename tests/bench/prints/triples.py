"""Aligns three drawn prints of one reel, each with each, and prints how often the way round contradicts the direct one.

    python -m tests.bench.prints.triples [--reels 10] [--frames 1000] [--seed 1301] [--levels mild,medium,severe]

Before and after sure statements are taken away where the three contradict each other, and how right what is left is.
"""

import argparse
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from relay.model import frame_count
from relay.programme.agreeing import Pair, Sure, disputed, doubting
from relay.programme.alignment.aligning import frame_map_between
from relay.programme.framemap import FrameMap, disagreements
from tests.references.prints import LEVELS, Source, drawn_source, struck

NAMES = ("A/R01/v1", "B/R01/v1", "C/R01/v1")
Maps = dict[Pair, FrameMap]


def each_with_each(prints: dict[str, NDArray[np.uint8]]) -> Maps:
    found: Maps = {}
    for one, other in (NAMES[:2], NAMES[1:], NAMES[::2]):
        reels = ((np.arange(len(prints[name])), prints[name]) for name in (one, other))
        found[one, other] = frame_map_between((one, other), *reels)
        found[other, one] = found[one, other].inverse()
    return found


def settled(maps: Maps) -> Maps:
    """Return the maps less sure where the three contradict each other."""
    doubted = disputed({pair: Sure(each.there) for pair, each in maps.items()})
    return {
        (one, other): doubting(each, doubted.get((one, other), ()), doubted.get((other, one), ()))
        for (one, other), each in maps.items()
    }


def compared(maps: Maps) -> tuple[int, int]:
    """Return, over all ways round, of how many frames all are sure, and how many of these differ."""
    sure = differ = 0
    for a, b, c in permutations(NAMES):
        straight, round_about = maps[a, c], maps[a, b].then(maps[b, c])
        sure += sum(match.sure and straight.there.at(at).sure for at, match in round_about.there.said())
        differ += frame_count(disagreements(round_about, straight))
    return sure, differ


def right_of(source: Source, shown: dict[str, NDArray[np.int64]], maps: Maps) -> tuple[int, int, int]:
    """Return how many frames of all maps there are, of how many a map is sure, and how many of these are right."""
    look = {name: source.look(each) for name, each in shown.items()}
    told = []
    for (one, other), each in maps.items():
        for at, match in each.there.said():
            seen = look[one][at]
            told.append(
                (match.sure, seen not in look[other] if match.other is None else seen == look[other][match.other])
            )
    return len(told), sum(sure for sure, _ in told), sum(bool(sure and right) for sure, right in told)


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--reels", type=int, default=10)
    asked.add_argument("--frames", type=int, default=1000)
    asked.add_argument("--seed", type=int, default=1301)
    asked.add_argument("--levels", default=",".join(LEVELS))
    words = asked.parse_args()
    for level in words.levels.split(","):
        counts = []
        for seed in range(words.seed, words.seed + words.reels):
            source = drawn_source(seed, words.frames)
            prints = {name: struck(seed, source, LEVELS[level], which) for which, name in enumerate(NAMES)}
            maps = each_with_each({name: each.grey for name, each in prints.items()})
            after, shown = settled(maps), {name: each.source for name, each in prints.items()}
            counts.append(
                (compared(maps), compared(after), right_of(source, shown, maps), right_of(source, shown, after))
            )
            print(level, seed, *counts[-1], flush=True)
        before, after, right, left = (np.sum([each[part] for each in counts], axis=0) for part in range(4))
        print(
            f"{level}: all sure of {before[0]} frames, {before[1]} differ; then of {after[0]}, {after[1]} differ; "
            f"sure {right[1] / right[0]:.3f}, of these right {right[2] / right[1]:.4f}; then {left[1] / left[0]:.3f}, "
            f"{left[2] / left[1]:.4f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
