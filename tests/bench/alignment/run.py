"""Aligns drawn prints of every level, and beside it by plain likeness and time warping; prints a line a reel.

    python -m tests.bench.alignment.run [--reels 10] [--frames 3000] [--seed 1001] [--levels mild,medium,severe]
    python -m tests.bench.alignment.run --large 16000        # time and memory of one pair

Seeds 1 to 99 were looked at while the aligner was made; those from 1001 on check it.
"""

import argparse
import resource
import time

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.aligning import SURE, aligned
from tests.bench.alignment.scoring import Score, score
from tests.references.prints import LEVELS, drawn_source, struck


def warped(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Align by the cosine of whole thumbnails and dynamic time warping: the reference method. No frame is lacking,
    but where several frames of A fall on one of B, only the most alike of them has it."""
    flat = [each.reshape(len(each), -1).astype(np.float32) for each in (one, other)]
    flat = [each - each.mean(axis=1, keepdims=True) for each in flat]
    here, there = (each / (np.linalg.norm(each, axis=1, keepdims=True) + 1e-3) for each in flat)
    cost = 1 - here @ there.T
    rows, columns = cost.shape
    total = np.full((rows + 1, columns + 1), np.inf, np.float32)
    total[0, 0] = 0
    for diagonal in range(2, rows + columns + 1):
        row = np.arange(max(1, diagonal - columns), min(rows, diagonal - 1) + 1)
        column = diagonal - row
        before = np.minimum(np.minimum(total[row - 1, column - 1], total[row - 1, column]), total[row, column - 1])
        total[row, column] = cost[row - 1, column - 1] + before
    found, best = np.full(rows, -1, np.int64), np.full(columns, np.inf)
    owner = np.full(columns, -1)
    row, column = rows, columns
    while row and column:
        if cost[row - 1, column - 1] < best[column - 1]:
            best[column - 1], owner[column - 1] = cost[row - 1, column - 1], row - 1
        options = total[row - 1, column - 1], total[row - 1, column], total[row, column - 1]
        step = int(np.argmin(options))
        row, column = row - (step != 2), column - (step != 1)
    for at in np.flatnonzero(owner >= 0):
        if found[owner[at]] < 0 or best[at] < cost[owner[at], found[owner[at]]]:
            found[owner[at]] = at
    return found


def measured(level: str, seed: int, frames: int) -> tuple[Score, Score]:
    source = drawn_source(seed, frames)
    one, other = (struck(seed, source, LEVELS[level], which) for which in (0, 1))
    began = time.process_time()
    found = aligned(one.grey, other.grey)
    took = time.process_time() - began
    plain = warped(one.grey, other.grey)
    ours = score(source, one, other, found.frame, found.chance >= SURE)
    theirs = score(source, one, other, plain, np.ones(len(plain), bool))
    print(f"{level} {seed}: {len(one.grey)} x {len(other.grey)}, {took:.1f} s; {ours}; warping {theirs}", flush=True)
    return ours, theirs


def mean(told: list[Score]) -> str:
    gaps, found = sum(each.gaps for each in told), sum(each.gaps_found for each in told)
    exact, sure, right, ranges = (
        float(np.mean([getattr(each, name) for each in told])) for name in ("exact", "sure", "sure_right", "ranges")
    )
    return f"exact {exact:.4f}, sure {sure:.3f}, of these right {right:.4f}, gaps {found}/{gaps}, ranges F {ranges:.3f}"


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--reels", type=int, default=10)
    asked.add_argument("--frames", type=int, default=3000)
    asked.add_argument("--seed", type=int, default=1001)
    asked.add_argument("--levels", default=",".join(LEVELS))
    asked.add_argument("--large", type=int)
    words = asked.parse_args()
    if words.large:
        source = drawn_source(words.seed, words.large)
        one, other = (struck(words.seed, source, LEVELS["mild"], which).grey for which in (0, 1))
        began, burnt = time.monotonic(), time.process_time()
        aligned(one, other)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        took = f"{time.monotonic() - began:.1f} s, {time.process_time() - burnt:.1f} s of processor time"
        print(f"{len(one)} x {len(other)}: {took}, {memory:.0f} MB at most")
        return
    for level in words.levels.split(","):
        told = [measured(level, words.seed + at, words.frames) for at in range(words.reels)]
        print(
            f"{level}: {mean([ours for ours, _ in told])}; warping: {mean([theirs for _, theirs in told])}", flush=True
        )


if __name__ == "__main__":
    main()
