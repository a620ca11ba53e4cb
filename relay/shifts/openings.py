"""A site's open hours, asked quickly: when work is finished that begins now, or must begin to be finished by then."""

from bisect import bisect_left, bisect_right

from relay.shifts.problem import Minute, Windows

FAR: Minute = 10**12
"""Never: later than any window."""


class Openings:
    """Open hours as sorted arrays; each question costs one or two binary searches. All times in minutes."""

    __slots__ = ("_longest_from", "before", "closes", "opens", "until")

    def __init__(self, windows: Windows) -> None:
        """Lay out `windows`; two that touch become one."""
        merged: list[list[Minute]] = []
        for opens, closes in windows:
            if merged and merged[-1][1] == opens:
                merged[-1][1] = closes
            else:
                merged.append([opens, closes])
        self.opens = [opens for opens, _ in merged]
        self.closes = [closes for _, closes in merged]
        self.before: list[int] = []
        self.until: list[int] = []
        total = 0
        for opens, closes in merged:
            self.before.append(total)
            total += closes - opens
            self.until.append(total)
        self._longest_from = [0] * (len(merged) + 1)
        for at in range(len(merged) - 1, -1, -1):
            self._longest_from[at] = max(self._longest_from[at + 1], self.closes[at] - self.opens[at])

    def open_from(self, minute: Minute) -> Minute:
        """Return the first open minute at or after `minute`; FAR if there is none."""
        at = bisect_right(self.closes, minute)
        if at == len(self.closes):
            return FAR
        return max(minute, self.opens[at])

    def place(self, ready: Minute, work: int) -> tuple[Minute, Minute]:
        """Return (start, finish) of `work` open minutes that begin as soon as it is open from `ready` on."""
        closes = self.closes
        at = bisect_right(closes, ready)
        if at == len(closes):
            return FAR, FAR
        opens = self.opens[at]
        start = ready if ready > opens else opens  # noqa: FURB136 - the innermost loop; max() costs a call
        finish = start + work
        if finish <= closes[at]:
            return start, finish
        wanted = self.before[at] + start - opens + work
        last = bisect_left(self.until, wanted, at)
        if last == len(closes):
            return start, FAR
        return start, self.opens[last] + wanted - self.before[last]

    def place_in_one(self, ready: Minute, work: int) -> tuple[Minute, Minute]:
        """Return (start, finish) of `work` minutes in the first shift that holds all of them."""
        for at in range(bisect_right(self.closes, ready), len(self.closes)):
            start = max(ready, self.opens[at])
            if start + work <= self.closes[at]:
                return start, start + work
        return FAR, FAR

    def last_start(self, finish: Minute, work: int) -> Minute:
        """Return the latest start from which `work` open minutes are done by `finish`; -FAR if there is none."""
        at = bisect_left(self.opens, finish) - 1
        if at < 0:
            return -FAR
        wanted = self.before[at] + min(finish, self.closes[at]) - self.opens[at] - work
        if wanted < 0:
            return -FAR
        # A start is an open minute: where `wanted` falls on a closing, work begins at the next opening.
        first = bisect_right(self.until, wanted) if work else at
        return self.opens[first] + wanted - self.before[first]

    def last_start_in_one(self, finish: Minute, work: int) -> Minute:
        """Return the latest start of `work` minutes within one shift, done by `finish`; -FAR if there is none."""
        for at in range(bisect_left(self.opens, finish) - 1, -1, -1):
            start = min(finish, self.closes[at]) - work
            if start >= self.opens[at]:
                return start
        return -FAR

    def last_open(self, minute: Minute) -> Minute:
        """Return the last minute at or before `minute` at which it is open; -FAR if there is none."""
        at = bisect_right(self.opens, minute) - 1
        return -FAR if at < 0 else min(minute, self.closes[at] - 1)

    def worked(self, start: Minute, finish: Minute) -> int:
        """Return the open minutes in [start, finish)."""
        return self._open_before(finish) - self._open_before(start)

    def closing(self, start: Minute, shifts: int) -> Minute:
        """Return when the shift that is open at `start` closes (shifts=1), or a later one; FAR after the last."""
        at = bisect_right(self.closes, start) + shifts - 1
        return self.closes[at] if at < len(self.closes) else FAR

    def spells(self, start: Minute, finish: Minute) -> Windows:
        """Return the parts of [start, finish) that are open."""
        found: list[tuple[Minute, Minute]] = []
        for at in range(bisect_right(self.closes, start), len(self.closes)):
            if self.opens[at] >= finish:
                break
            found.append((max(start, self.opens[at]), min(finish, self.closes[at])))
        return tuple(found)

    def nights(self) -> list[int]:
        """Return the minutes between each closing and the next opening."""
        return [opens - closes for opens, closes in zip(self.opens[1:], self.closes, strict=False)]

    def longest(self, since: Minute) -> int:
        """Return the minutes of the longest shift, or rest of one, from `since` on; 0 if it never opens."""
        at = bisect_right(self.closes, since)
        if at == len(self.closes):
            return 0
        return max(self.closes[at] - max(since, self.opens[at]), self._longest_from[at + 1])

    def _open_before(self, minute: Minute) -> int:
        at = bisect_right(self.opens, minute) - 1
        if at < 0:
            return 0
        return self.before[at] + min(minute, self.closes[at]) - self.opens[at]
