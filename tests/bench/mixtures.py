"""Whether the pictures under dissolves and wipes tell which two frames are mixed there, however they were graded.

    python -m tests.bench.mixtures CLIP [TRIALS]

CLIP and its wear are those of `tests.bench.conform`. Each trial lets one stretch of the clip dissolve, or wipe from the
left, into another over 12 to 30 places; each is graded by itself, and one of them may be some frames off. A slip counts
as caught where its shot is named; whatever else is named is an alarm.
"""

import sys
import time
from fractions import Fraction
from pathlib import Path

import numpy as np

from relay.media.thumbnails import GreyReel
from relay.model import ReelName
from relay.programme.conforming import PLAIN, SURE
from relay.programme.cutlist import CutList, Event
from relay.programme.matching import CHANGE
from relay.programme.mixing import Slip, match_mixtures
from tests.bench.conform import graded, luma, small, worn

A, B = ReelName("A/R01"), ReelName("B/R01")
KINDS = {"a dissolve": None, "a wipe": 1}
SLIPS = (0, 1, 2, 3, 6)


def mixed(tones: np.ndarray, cut: CutList, by: tuple[int, int], draw: np.random.Generator) -> GreyReel:
    """Return the places under the dissolve of `cut`, what goes and what comes off by so many frames."""
    (begins, event), numbers = list(cut.laid())[1], []
    going = cut.going()
    gone = [going[begins + step].frame + by[0] for step in range(event.dissolve)]
    comes = [event.frame_at(step, cut.rate) + by[1] for step in range(event.dissolve)]
    one, other = graded(tones, gone, draw), graded(tones, comes, draw)
    made = np.empty_like(one)
    for step in range(event.dissolve):
        share = (step + 1) / (event.dissolve + 1)
        if event.wipe is None:
            made[step] = one[step] * (1 - share) + other[step] * share
        else:
            edge = round(share * one.shape[2])
            made[step] = np.concatenate([other[step][:, :edge], one[step][:, edge:]], axis=1)
        numbers.append(begins + step)
    return GreyReel(np.array(numbers), small(made))


def trial(tones: np.ndarray, wipe: int | None, slip: int, draw: np.random.Generator) -> tuple[bool, bool, int, int]:
    """Return whether the shot that slipped was caught, and blocked; how many others were named, and blocked."""
    over, side, sign = int(draw.integers(12, 31)), int(draw.integers(0, 2)), int(draw.choice([-1, 1]))
    one, other = (int(draw.integers(20, 160)) for _ in range(2))
    events = Event(A, one, 24, Fraction(24)), Event(B, other, 48, Fraction(18), dissolve=over, wipe=wipe)
    cut, by = CutList(Fraction(24), events), [0, 0]
    by[side] = sign * slip
    sources = {reel: GreyReel(np.arange(250), small(worn(tones, draw))) for reel in (A, B)}
    found = match_mixtures(cut, mixed(tones, cut, (by[0], by[1]), draw), sources)
    right = (A, B)[side] if slip else None
    blocks = [each for each in found.slips if is_plain(each)]
    named = [each.expected.reel for each in found.slips]
    others = [reel for reel in named if reel != right]
    return right in named, right in [each.expected.reel for each in blocks], len(others) + len(found.unlike), sum(
        each.expected.reel != right for each in blocks
    )  # fmt: skip


def is_plain(slip: Slip) -> bool:
    return slip.sure >= SURE and slip.gain >= PLAIN * CHANGE


def main() -> None:
    tones, trials = luma(Path(sys.argv[1])), int(sys.argv[2]) if len(sys.argv) > 2 else 60
    print("| | frames off | caught | and blocked | others named | and blocked | ms |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, wipe in KINDS.items():
        for slip in SLIPS:
            began = time.process_time()
            told = [trial(tones, wipe, slip, np.random.default_rng([11, number])) for number in range(trials)]
            caught, blocks, alarms, blocked = (sum(each) for each in zip(*told, strict=True))
            took = (time.process_time() - began) / trials * 1000
            shown = f"{caught}/{trials} | {blocks}/{trials}" if slip else "- | -"
            print(f"| {name} | {slip} | {shown} | {alarms} | {blocked} | {took:.0f} |", flush=True)


if __name__ == "__main__":
    main()
