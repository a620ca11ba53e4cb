"""How many hands are busy when, while the first plan is built: work may still slip in before what is entered."""

from bisect import bisect_left, bisect_right

from relay.shifts.layout import Layout
from relay.shifts.openings import FAR
from relay.shifts.timing import place_by_manner


class Diary:
    """For each pool, the minutes at which the number of busy hands changes, and that number from there on."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._times: list[list[int]] = [[-FAR] for _ in layout.hands]
        self._busy: list[list[int]] = [[0] for _ in layout.hands]

    def fit(self, task: int, site: int, ready: int, minutes: int, shifts: int = 0) -> tuple[int, int]:
        """Return the earliest (start, finish) at `site` that every pool has a hand for; `shifts` as in a path."""
        pools = self._layout.pools[task][site]
        while True:
            start, finish = self._place(task, site, ready, minutes, shifts)
            again = max(self._free_again(pool, start, finish) for pool in pools)
            if again <= start:
                return start, finish
            ready = again

    def enter(self, task: int, site: int, start: int, finish: int) -> None:
        """Take a hand from every pool for [start, finish)."""
        if finish <= start:
            return
        for pool in self._layout.pools[task][site]:
            first, last = self._edge(pool, start), self._edge(pool, finish)
            busy = self._busy[pool]
            for at in range(first, last):
                busy[at] += 1

    def _edge(self, pool: int, minute: int) -> int:
        times, busy = self._times[pool], self._busy[pool]
        at = bisect_left(times, minute)
        if at == len(times) or times[at] != minute:
            times.insert(at, minute)
            busy.insert(at, busy[at - 1])
        return at

    def _free_again(self, pool: int, start: int, finish: int) -> int:
        """Return `start` if a hand is free all through, else when one is that was not."""
        times, busy, hands = self._times[pool], self._busy[pool], max(self._layout.hands[pool], 1)
        at = bisect_right(times, start) - 1
        while at < len(times) and times[at] < finish:
            if busy[at] >= hands:
                return times[at + 1]
            at += 1
        return start

    def _place(self, task: int, site: int, ready: int, minutes: int, shifts: int) -> tuple[int, int]:
        layout = self._layout
        openings = layout.openings[site]
        if shifts:
            start, finish = openings.place(ready, minutes)
            return start, min(finish, openings.closing(start, shifts))
        if layout.plain[task]:
            return openings.place(ready, minutes)
        known = layout.known_finish[task]
        if known is not None:
            return ready, max(known, ready)
        overnight, listed = layout.tasks[task].overnight, layout.stays[task]
        if listed is None:
            return place_by_manner(overnight, openings, ready, minutes)
        start, finish = ready, ready
        for arrives, leaves in listed[site]:
            start, finish = place_by_manner(overnight, openings, max(ready, arrives), minutes)
            if finish <= leaves:
                break
        return start, finish
