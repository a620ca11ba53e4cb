"""How late each item may be finished: backwards through the same order, from the dates to the beginning."""

from bisect import bisect_right, insort
from collections.abc import Sequence

from relay.shifts.layout import Layout
from relay.shifts.openings import FAR
from relay.shifts.problem import Overnight
from relay.shifts.timing import NOTHING, Timing


def latest_ends(layout: Layout, order: Sequence[int], timing: Timing, targets: Sequence[int]) -> list[int]:
    """Return how late each item may end so that every task still ends by its target, order and sites as they are.

    Work that is handed on counts as if it could not begin any later: its share would be another.
    """
    latest = [FAR] * layout.size
    for item, target in zip(layout.last_item, targets, strict=True):
        latest[item] = target
    held = _hands_taken_from(layout, order, timing)
    for item in reversed(order):
        task, part = layout.task_of[item], layout.part_of[item]
        if part and not timing.left[item - 1]:
            latest[item - 1] = min(latest[item - 1], latest[item])
            continue
        begins = _latest_start(layout, timing, item, latest[item])
        site = timing.at[item]
        for other, legs in layout.before[task]:
            latest[other] = min(latest[other], begins - legs[timing.at[other]][site])
        if part:
            latest[item - 1] = min(latest[item - 1], timing.end[item - 1] + min(begins - timing.start[item], 0))
        for other in held[item]:
            latest[other] = min(latest[other], begins)
    return latest


def _latest_start(layout: Layout, timing: Timing, item: int, latest: int) -> int:
    task, site = layout.task_of[item], timing.at[item]
    start, end, minutes = timing.start[item], timing.end[item], timing.spent[item]
    if timing.left[item] or layout.known_finish[task] is not None:
        return start + min(latest - end, 0)
    stays = layout.stays[task]
    if stays is not None:
        latest = min([latest, *(leaves for arrives, leaves in stays[site] if arrives <= start and end <= leaves)])
    openings = layout.openings[site]
    match layout.tasks[task].overnight:
        case Overnight.ONE_SHIFT:
            return openings.last_start_in_one(latest, minutes)
        case Overnight.RUNS_ON:
            return openings.last_open(latest - minutes)
        case Overnight.PAUSES:
            return openings.last_start(latest, minutes)


def _hands_taken_from(layout: Layout, order: Sequence[int], timing: Timing) -> list[list[int]]:
    """Return for each item the items whose hands it took over, one for each pool."""
    free = [[(0, NOTHING)] * max(hands, 1) for hands in layout.hands]
    found: list[list[int]] = [[] for _ in range(layout.size)]
    for item in order:
        if layout.part_of[item] and not timing.left[item - 1]:
            continue
        for pool in layout.pools[layout.task_of[item]][timing.at[item]]:
            queue = free[pool]
            _, owner = queue.pop(bisect_right(queue, (timing.start[item], FAR)) - 1)
            if owner != NOTHING:
                found[item].append(owner)
            insort(queue, (timing.end[item], item))
    return found
