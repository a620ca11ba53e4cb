"""From an order and each task's path to times: every item in turn takes the first minute that everything allows.

Of all plans with the same paths, one of the soonest comes out of some order: take it, push each piece as early as it
goes, and list its pieces by start. So the search moves in orders and paths only.
"""

from bisect import bisect_right, insort
from collections.abc import Sequence

from relay.shifts.layout import Layout, Path
from relay.shifts.openings import FAR, Openings
from relay.shifts.plan import Score
from relay.shifts.problem import Overnight

NOTHING = -1
"""A cause: no other item held it up."""


NO_LIMIT = 1000 * FAR


class Timing:
    """Times of all items. `cause`: the item whose outcome was waited for, or -2 minus the one that freed the hand."""

    __slots__ = ("at", "cause", "end", "left", "overstay", "spent", "start")

    def __init__(self, size: int) -> None:
        self.start = [0] * size
        self.end = [0] * size
        self.cause = [NOTHING] * size
        self.at = [-1] * size
        self.spent = [0] * size
        """Working minutes at the item's site."""
        self.left = [0] * size
        """Working minutes that are handed on, out of the whole task's at the item's site."""
        self.overstay = 0


def freed_by(cause: int) -> int:
    """Return the item whose hand was waited for; NOTHING if it was no hand."""
    return -2 - cause if cause < NOTHING else NOTHING


def time_items(
    layout: Layout,
    order: Sequence[int],
    paths: Sequence[Path],
    work: Sequence[Sequence[int]],
    limit: int = NO_LIMIT,
) -> Timing | None:
    """Return the times of all items in `order`, working as long as `work[task][site]` says.

    Returns None as soon as it is sure that something finishes after `limit`.
    """
    timing = Timing(layout.size)
    start, end, cause, at, spent = timing.start, timing.end, timing.cause, timing.at, timing.spent
    free: list[list[tuple[int, int]]] = [[(0, NOTHING)] * max(hands, 1) for hands in layout.hands]
    openings, task_of, part_of, before = layout.openings, layout.task_of, layout.part_of, layout.before
    pools, floor, plain, tail, credit = layout.pools, layout.floor, layout.plain, layout.tail, layout.credit
    for item in order:
        task, part = task_of[item], part_of[item]
        path = paths[task]
        if part and not timing.left[item - 1]:
            start[item] = end[item] = end[item - 1]
            at[item] = at[item - 1]
            cause[item] = item - 1
            continue
        site, shifts = path[part]
        ready, why = floor[task][site], NOTHING
        for other, legs in before[task]:
            lands = end[other] + legs[at[other]][site]
            if lands > ready:
                ready, why = lands, other
        minutes = work[task][site]
        if part:
            half_done = layout.half_done[task]
            lands = end[item - 1] + (half_done[at[item - 1]][site] if half_done else FAR)
            if lands > ready:
                ready, why = lands, item - 1
            minutes = still_to_do(layout, timing, item, site, work[task])
        elif credit[task]:
            minutes = max(minutes - credit[task], 0)
        mine = pools[task][site]
        for pool in mine:
            released, owner = free[pool][0]
            if released > ready:
                ready, why = released, -2 - owner
        if plain[task]:
            begins, finishes = openings[site].place(ready, minutes)
        else:
            begins, finishes = _placed(layout, timing, task, site, ready, minutes)
        if shifts:
            finishes = _until_closing(layout, timing, item, openings[site], (begins, finishes), shifts, minutes)
        else:
            spent[item] = minutes
        if finishes + tail[task] > limit:
            return None
        start[item], end[item], cause[item], at[item] = begins, finishes, why, site
        for pool in mine:
            queue = free[pool]
            if len(queue) == 1:
                queue[0] = (finishes, item)
            else:
                del queue[bisect_right(queue, (begins, FAR)) - 1]
                insort(queue, (finishes, item))
    return timing


def still_to_do(layout: Layout, timing: Timing, item: int, site: int, work: Sequence[int]) -> int:
    """Return the minutes of a later piece: what is left, at the receiver's own pace, rounded up, and the reading."""
    whole = work[timing.at[item - 1]]
    left = timing.left[item - 1]
    return layout.reading[layout.task_of[item]] + (-(-left * work[site] // whole) if whole else 0)


def _until_closing(
    layout: Layout, timing: Timing, item: int, openings: Openings, placed: tuple[int, int], shifts: int, minutes: int
) -> int:
    begins, finishes = placed
    closes = openings.closing(begins, shifts)
    if closes >= finishes:
        timing.spent[item] = minutes
        return finishes
    worked = openings.worked(begins, closes)
    reading = layout.reading[layout.task_of[item]] if layout.part_of[item] else 0
    timing.spent[item] = worked
    timing.left[item] = minutes - max(worked, reading)
    return closes


def _placed(layout: Layout, timing: Timing, task: int, site: int, ready: int, minutes: int) -> tuple[int, int]:
    known = layout.known_finish[task]
    if known is not None:
        return ready, max(known, ready)
    overnight, openings = layout.tasks[task].overnight, layout.openings[site]
    listed = layout.stays[task]
    if listed is None:
        return place_by_manner(overnight, openings, ready, minutes)
    begins, finishes = FAR, FAR
    for arrives, leaves in listed[site]:
        begins, finishes = place_by_manner(overnight, openings, max(ready, arrives), minutes)
        if finishes <= leaves:
            return begins, finishes
    timing.overstay += finishes - (listed[site][-1][1] if listed[site] else 0)
    return begins, finishes


def place_by_manner(overnight: Overnight, openings: Openings, ready: int, minutes: int) -> tuple[int, int]:
    """Return (start, finish) of work that begins from `ready` on, as it behaves when its site closes."""
    if overnight is Overnight.PAUSES:
        return openings.place(ready, minutes)
    if overnight is Overnight.ONE_SHIFT:
        return openings.place_in_one(ready, minutes)
    begins = openings.open_from(ready)
    return begins, begins + minutes


def score_of(layout: Layout, timing: Timing) -> Score:
    """Return how good the timed plan is."""
    late = finish = settled = hand_ons = 0
    end = timing.end
    for item, due in zip(layout.last_item, layout.due, strict=True):
        done = end[item]
        settled += done
        finish = max(finish, done)
        if due is not None and done - due > late:
            late = done - due
    load = [0] * len(layout.openings)
    for at, spent, left in zip(timing.at, timing.spent, timing.left, strict=True):
        load[at] += spent
        hand_ons += left > 0
    unfair = sum(minutes * minutes // max(layout.hands[site], 1) for site, minutes in enumerate(load))
    return Score(timing.overstay, late, finish, hand_ons, unfair, settled)
