"""Improves a draft while there is time: works on the chain that sets the finish, and may take a step back to get on.

A step swaps two tasks that wait for the same hand, or sends a task of the chain elsewhere. Simulated annealing after
van Laarhoven, Aarts and Lenstra (1992), "Job shop scheduling by simulated annealing": only swaps on the chain can help.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from random import Random

from relay.shifts.first_plan import Draft
from relay.shifts.layout import PIECES, Layout, Path
from relay.shifts.openings import FAR
from relay.shifts.plan import Budget, Score
from relay.shifts.timing import NO_LIMIT, Timing, freed_by, score_of, time_items

Allowed = Callable[[Draft, Timing, Score], bool]
"""Whether a better plan may be taken."""


@dataclass(slots=True)
class State:
    """A draft with its times, and the chain that sets its finish."""

    draft: Draft
    timing: Timing
    score: Score
    chain: list[int] = field(default_factory=list)

    def energy(self) -> float:
        """Return how bad it is as one number, in minutes; the small change is how early everything is finished."""
        score = self.score
        return score.overstay * 100.0 + score.late * 3.0 + score.finish + score.settled / (50.0 * len(self.draft.paths))


def timed(layout: Layout, draft: Draft, limit: int = NO_LIMIT) -> State | None:
    """Return the draft with its times; None if something surely finishes after `limit`."""
    timing = time_items(layout, draft.order, draft.paths, layout.likely, limit)
    return None if timing is None else State(draft, timing, score_of(layout, timing))


def chain_of(timing: Timing, last: int) -> list[int]:
    """Return the items that set when `last` is finished, first to last."""
    found = [last]
    while True:
        cause = timing.cause[found[-1]]
        item = cause if cause >= 0 else freed_by(cause)
        if item < 0:
            return found[::-1]
        found.append(item)


def last_of(layout: Layout, timing: Timing) -> int:
    """Return the item that is finished last."""
    return max(layout.last_item, key=timing.end.__getitem__)


def latest_of(layout: Layout, timing: Timing) -> int:
    """Return the item that misses its date by most, or is finished last."""
    return max(
        zip(layout.last_item, layout.due, strict=True),
        key=lambda pair: (-FAR if pair[1] is None else timing.end[pair[0]] - pair[1], timing.end[pair[0]]),
    )[0]


class Search:
    """One walk from a draft, with a seed: the same budget and seed give the same plan."""

    def __init__(self, layout: Layout, seed: int, *, movable: Sequence[bool], allowed: Allowed | None) -> None:
        """`movable` says which tasks may go elsewhere; with `allowed` every step must get better and be allowed."""
        self._layout = layout
        self._dice = Random(seed)  # noqa: S311 - a walk, not a secret
        self._movable = movable
        self._allowed = allowed
        self._ancestors = _ancestors(layout)

    def improve(self, state: State, budget: Budget) -> State:
        """Return the best plan met on the way from `state` until the budget is used up."""
        best = state = self._settled(state)
        heat = self._first_heat(state)
        left = share = budget()
        steps = 0
        while left > 0 and state.chain:
            warmth = heat * _cooling(left / share) if self._allowed is None else 0.0
            threshold = state.energy() - warmth * math.log(1.0 - self._dice.random())
            found = self._step(state, threshold)
            if found is not None:
                state = self._settled(found)
                if found.score < best.score:
                    best = state
            steps += 1
            left = budget()
            if steps == _TRIAL and _TRIAL * share < _STEPS_A_TASK * len(state.draft.paths) * (share - left):
                heat = 0.0  # too large for a walk in this time: only go down
        return best

    def tried(self, state: State, task: int, path: Path) -> State | None:
        """Return the plan with `task` on `path`, early or at its present turn, if it is better and allowed."""
        for eager in (False, True):
            draft = self.with_path(state, task, path, eager=eager)
            found = timed(self._layout, draft, limit=state.score.finish)
            if found is not None and found.score < state.score and self._is_allowed(found):
                return self._settled(found)
        return None

    def best_with(self, state: State, task: int, path: Path) -> State:
        """Return the better of two plans with `task` on `path`: early, or at its present turn."""
        drafts = (self.with_path(state, task, path, eager=eager) for eager in (False, True))
        return min((each for each in map(self._timed, drafts) if each), key=lambda each: each.score)

    def _timed(self, draft: Draft) -> State | None:
        return timed(self._layout, draft)

    def _is_allowed(self, found: State) -> bool:
        return self._allowed is None or self._allowed(found.draft, found.timing, found.score)

    def _first_heat(self, state: State) -> float:
        """A step back may cost a good part of a task, or of a night."""
        spent = [each for each in state.timing.spent if each]
        nights = [night for openings in self._layout.openings for night in openings.nights()]
        mean_night = sum(nights) / len(nights) if nights else 0.0
        return (sum(spent) / max(len(spent), 1) + mean_night) * _HEAT

    def _step(self, state: State, threshold: float) -> State | None:
        draft = self._neighbour(state)
        if draft is None:
            return None
        found = timed(self._layout, draft, limit=int(min(threshold, NO_LIMIT)))
        if found is None or found.energy() > threshold:
            return None
        if self._allowed is not None and not (found.score < state.score and self._is_allowed(found)):
            return None
        return found

    def _settled(self, state: State) -> State:
        layout, start = self._layout, state.timing.start
        order = sorted(state.draft.order, key=start.__getitem__)
        pinned = [item for item in order if layout.pinned[layout.task_of[item]] and not layout.part_of[item]]
        if pinned:
            front = set(pinned)
            order = pinned + [item for item in order if item not in front]
        pick = latest_of if state.score.late and self._dice.random() < 0.5 else last_of
        chain = chain_of(state.timing, pick(layout, state.timing)) if order else []
        return State(Draft(order, state.draft.paths), state.timing, state.score, chain)

    def _neighbour(self, state: State) -> Draft | None:
        layout, cause = self._layout, state.timing.cause
        waits = _at_the_edge([freed_by(cause[item]) >= 0 for item in state.chain], state.chain)
        roam = [item for item in state.chain if self._may_roam(layout.task_of[item])]
        if waits and (not roam or self._dice.random() < 0.6):
            return self._swapped(state, waits)
        if roam:
            return self._elsewhere(state, layout.task_of[self._dice.choice(roam)])
        return None

    def _may_roam(self, task: int) -> bool:
        layout = self._layout
        return self._movable[task] and (len(layout.sites[task]) > 1 or layout.half_done[task] is not None)

    def _swapped(self, state: State, waits: list[int]) -> Draft | None:
        cause = state.timing.cause
        item = self._dice.choice(waits)
        other = freed_by(cause[item])
        if self._dice.random() < 0.3:  # over the whole run of tasks at this hand, not just the next
            while (further := freed_by(cause[other])) >= 0 and self._dice.random() < 0.7:
                other = further
        return self._with_order(state.draft, other, item)

    def _with_order(self, draft: Draft, other: int, item: int) -> Draft | None:
        """Put `item` just ahead of `other`, or `other` just behind `item`; what must stay between goes along."""
        layout, order, ancestors = self._layout, draft.order, self._ancestors
        if ancestors[item] >> other & 1 or (layout.pinned[layout.task_of[other]] and not layout.part_of[other]):
            return None
        low, high = order.index(other), order.index(item)
        segment = order[low : high + 1]
        if self._dice.random() < 0.5:
            mine = ancestors[item] | 1 << item
            moved = [each for each in segment if mine >> each & 1]
            kept = [each for each in segment if not mine >> each & 1]
            return Draft(order[:low] + moved + kept + order[high + 1 :], draft.paths)
        moved = [each for each in segment if each == other or ancestors[each] >> other & 1]
        behind = set(moved)
        kept = [each for each in segment if each not in behind]
        return Draft(order[:low] + kept + moved + order[high + 1 :], draft.paths)

    def _elsewhere(self, state: State, task: int) -> Draft | None:
        path = self._another_path(task, state.draft.paths[task])
        return None if path is None else self.with_path(state, task, path, eager=self._dice.random() < 0.7)

    def with_path(self, state: State, task: int, path: Path, *, eager: bool) -> Draft:
        """Return the draft with `task` and its group on `path`; `eager`: ahead of all that begin once it can."""
        layout = self._layout
        paths = list(state.draft.paths)
        keys: list[float] = list(state.timing.start)
        for each in layout.group[task]:
            paths[each] = path
            if eager:
                self._ask_early(state, each, path, keys)
        order = state.draft.order
        for item in order:
            task_here = layout.task_of[item]
            key = keys[item]
            if layout.part_of[item]:
                key = max(key, keys[item - 1])
            for other, _ in layout.before[task_here]:
                key = max(key, keys[other])
            keys[item] = key
        pinned = layout.pinned
        for item in order:
            if pinned[layout.task_of[item]] and not layout.part_of[item]:
                keys[item] = -1.0 * FAR
        return Draft(sorted(order, key=keys.__getitem__), paths)

    def _ask_early(self, state: State, task: int, path: Path, keys: list[float]) -> None:
        layout, end, at = self._layout, state.timing.end, state.timing.at
        item, site = layout.first_item[task], path[0][0]
        ready = layout.floor[task][site]
        for other, legs in layout.before[task]:
            ready = max(ready, end[other] + legs[at[other]][site])
        openings = layout.openings[site]
        keys[item] = openings.open_from(ready) - 0.5
        for part in range(1, len(path)):
            half_done = layout.half_done[task]
            shifts = path[part - 1][1]
            ready = layout.openings[path[part - 1][0]].closing(int(keys[item + part - 1]) + 1, shifts)
            lands = ready + (half_done[path[part - 1][0]][path[part][0]] if half_done else FAR)
            keys[item + part] = layout.openings[path[part][0]].open_from(lands) - 0.5

    def _another_path(self, task: int, path: Path) -> Path | None:
        layout, dice = self._layout, self._dice
        if layout.half_done[task] is None:
            others = [site for site in layout.sites[task] if site != path[0][0]]
            return ((dice.choice(others), 0),) if others else None
        first = path[0][0] if dice.random() < 0.5 else dice.choice(layout.sites[task])
        found: list[tuple[int, int]] = []
        site = first
        for _ in range(PIECES - 1):
            others = [each for each in layout.takers[task] if each != site]
            if not others or dice.random() < 0.5:
                break
            found.append((site, 1 if dice.random() < 0.7 else dice.choice((2, 3))))
            site = dice.choice(others)
        result = (*found, (site, 0))
        return None if result == path else result


def _at_the_edge(waited: list[bool], chain: list[int]) -> list[int]:
    """Return the items that waited for a hand, at either end of a run at it: no other swap can shorten the chain."""
    last = len(chain) - 1
    return [
        item for at, item in enumerate(chain) if waited[at] and not (waited[at - 1] and at < last and waited[at + 1])
    ]


def _cooling(left: float) -> float:
    """Return the share of the first heat: from hot to cold in a few rounds, so that a wrong turn is not the last."""
    return max(left * _ROUNDS % 1.0 - 0.1, 0.0) ** 2


_HEAT = 0.5
_ROUNDS = 5
_TRIAL = 40
_STEPS_A_TASK = 20


def _ancestors(layout: Layout) -> list[int]:
    """Return, for each item, the items that must come before it, as bits."""
    found = [0] * layout.size
    waiting = [len(each) for each in layout.before]
    ready = [task for task, count in enumerate(waiting) if count == 0]
    for task in ready:
        bits = 0
        for other, _ in layout.before[task]:
            bits |= found[other] | 1 << other
        for item in range(layout.first_item[task], layout.last_item[task] + 1):
            found[item] = bits
            bits |= 1 << item
        for follower in layout.after[task]:
            waiting[follower] -= 1
            if waiting[follower] == 0:
                ready.append(follower)
    return found
