"""5,000 events over 50 reels: checked, pulled and held against a re-cut. `python -m tests.bench.lists`.

Reads the list from an edit list's text first, as its user would. Prints the best and the worst of five.
"""

import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from time import process_time

from relay.model import FrameRange, ReelName
from relay.programme.checking import Holdings, check
from relay.programme.cutlist import CutList, Event
from relay.programme.edl import edl, parse_edl
from relay.programme.otio_form import otio_form, parse_otio
from relay.programme.pulling import pull_list, recut
from relay.programme.reading import Ground

EVENTS, REELS, FRAMES = 5_000, 50, 20_000
RATE = Fraction(24)
SPEEDS = (Fraction(16), Fraction(18), Fraction(200, 11), Fraction(20), RATE)


def programme(seed: int = 1) -> CutList:
    dice = random.Random(seed)
    reels = [ReelName(f"{'ABCDE'[number % 5]}/R{number // 5 + 1:02d}") for number in range(REELS)]
    events = []
    for _ in range(EVENTS):
        length = dice.randrange(12, 240)
        event = Event(dice.choice(reels), dice.randrange(FRAMES - 300), length, dice.choice(SPEEDS))
        events.append(replace(event, dissolve=12) if events and dice.random() < 0.05 else event)
    return CutList(RATE, tuple(events))


def recutted(cut: CutList, seed: int = 2) -> CutList:
    """Change one event in twenty, so that all that follows moves."""
    dice, events = random.Random(seed), list(cut.events)
    for at in dice.sample(range(EVENTS), EVENTS // 20):
        events[at] = replace(events[at], length=events[at].length + dice.randrange(1, 9))
    return CutList(cut.rate, tuple(events))


def held(cut: CutList) -> Holdings:
    """Every reel with a gap of 20 frames in each 1,000."""
    reels = {event.reel for event in cut.events}
    ranges = tuple(FrameRange(first=at, last=at + 979) for at in range(0, FRAMES, 1000))
    return Holdings(frozenset(reels), dict.fromkeys(reels, ranges), dict.fromkeys(reels, ranges))


def timed(what: str, done: Callable[[], object], times: int = 5) -> float:
    took = []
    for _ in range(times):
        begins = process_time()
        done()
        took.append(process_time() - begins)
    print(f"{what:36} {min(took):6.2f} {max(took):6.2f} s")
    return max(took)


def main() -> None:
    cut = programme()
    new, holdings, text, otio = recutted(cut), held(cut), edl(cut), otio_form(cut)
    print(f"{EVENTS:,} events, {REELS} reels, {cut.length():,} places; {len(check(cut, holdings)):,} findings")
    print(f"{'processor time':36} {'best':>6} {'worst':>6}")
    timed("read from an edit list", lambda: parse_edl(text, Ground()))
    timed("read from OpenTimelineIO", lambda: parse_otio(otio, Ground()))
    worst = timed("checked", lambda: check(cut, holdings))
    worst += timed("pulled", lambda: pull_list(cut, held=holdings.sent))
    worst += timed("held against a re-cut", lambda: recut(cut, new))
    print(f"{'checked, pulled and held':36} {'':6} {worst:6.2f} s")


if __name__ == "__main__":
    main()
