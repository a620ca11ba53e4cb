"""The soonest finish of a small problem, by trying every way: written apart from the planner, and slowly, on purpose.

Every plan can be pushed early piece by piece until none goes any earlier, and then comes out when its pieces are placed
one after the other, each as early as it fits. So all orders, sites, and closing times to hand on at are tried, except
where what is placed already, or the least that is still to come, cannot beat the best that is known.
"""

from dataclasses import dataclass, field

from relay.shifts.problem import Problem, Task


@dataclass
class _Open:
    """A task under way: where its work so far lies, since when, and what is left of how much."""

    site: str
    since: int
    left: int
    whole: int


@dataclass
class _World:
    problem: Problem
    best: int
    busy: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    done: dict[str, tuple[str, int]] = field(default_factory=dict)
    under_way: dict[str, _Open] = field(default_factory=dict)


def soonest_finish(problem: Problem, known: int) -> int:
    """Return the soonest finish, or `known` if nothing is sooner than that."""
    world = _World(problem, known, {site.name: [] for site in problem.sites})
    _try_all(world)
    return world.best


def _try_all(world: _World) -> None:
    if len(world.done) == len(world.problem.tasks):
        world.best = min(world.best, max(at for _, at in world.done.values()))
        return
    if _least_finish(world) >= world.best:
        return
    for task in world.problem.tasks:
        if task.id in world.done or any(before not in world.done for before in task.after):
            continue
        for choice in task.choices:
            if task.id in world.under_way and world.under_way[task.id].site == choice.site:
                continue
            _try_site(world, task, choice.site)


def _try_site(world: _World, task: Task, site: str) -> None:
    ready, minutes, reading, whole = _needs(world, task, site)
    piece = world.under_way.get(task.id)
    start, end = _earliest(world, site, ready, minutes, None)
    if end < world.best:
        world.busy[site].append((start, end))
        world.done[task.id] = (site, end)
        _try_all(world)
        del world.done[task.id]
        world.busy[site].pop()
    if task.hand_on is None or (piece is not None and piece.whole < 0):
        return
    for closes in _closings(world, site):
        if not ready < closes < world.best:
            continue
        start, end = _earliest(world, site, ready, minutes, closes)
        if end != closes:
            continue
        worked = len_open(world, site, start, closes)
        left = minutes - max(worked, reading)
        world.busy[site].append((start, closes))
        before = world.under_way.get(task.id)
        # Less than nothing marks the second piece: a third one is the last, as the planner has it.
        world.under_way[task.id] = _Open(site, closes, left, whole if before is None else -whole)
        _try_all(world)
        if before is None:
            del world.under_way[task.id]
        else:
            world.under_way[task.id] = before
        world.busy[site].pop()


def _needs(world: _World, task: Task, site: str) -> tuple[int, int, int, int]:
    """Return (ready, minutes, of which reading, minutes of the whole task there)."""
    choice = next(each for each in task.choices if each.site == site)
    ready = max(world.problem.now, task.earliest, choice.earliest)
    for before in task.after:
        where, at = world.done[before]
        ready = max(ready, at + _leg(world.problem.legs, where, site))
    whole = choice.work.likely
    piece = world.under_way.get(task.id)
    if piece is None or task.hand_on is None:
        return ready, whole, 0, whole
    ready = max(ready, piece.since + _leg(task.hand_on.legs, piece.site, site))
    share = piece.left * whole / abs(piece.whole)
    return ready, task.hand_on.reading + int(-(-share // 1)), task.hand_on.reading, whole


def _leg(legs, here: str, there: str) -> int:
    return 0 if here == there else legs[here, there]


def _least_finish(world: _World) -> int:
    """Return what no plan from here can beat: each task as if alone, on its best site, never closed."""
    least: dict[str, int] = {}
    for task in world.problem.tasks:  # in the order of the route
        if task.id in world.done:
            least[task.id] = world.done[task.id][1]
            continue
        ready = max([task.earliest, *(least[before] for before in task.after)])
        minutes = min(choice.work.likely for choice in task.choices)
        if task.id in world.under_way:
            piece = world.under_way[task.id]
            ready, minutes = max(ready, piece.since), minutes * piece.left // abs(piece.whole)
        least[task.id] = ready + minutes
    return max(least.values())


def _closings(world: _World, site: str) -> list[int]:
    return [end for _, end in _site(world, site).windows]


def _site(world: _World, site: str):
    return next(each for each in world.problem.sites if each.name == site)


def len_open(world: _World, site: str, start: int, end: int) -> int:
    """Return the open minutes between two instants, window by window."""
    return sum(max(min(end, closes) - max(start, opens), 0) for opens, closes in _site(world, site).windows)


def _earliest(world: _World, site: str, ready: int, minutes: int, closes: int | None) -> tuple[int, int]:
    """Return the earliest (start, end) with a hand free all through; `closes`: hand on then, if not done by then."""
    candidates = [ready, *(opens for opens, _ in _site(world, site).windows), *(end for _, end in world.busy[site])]
    for candidate in sorted(each for each in candidates if each >= ready):
        start = next((max(candidate, opens) for opens, end in _site(world, site).windows if end > candidate), None)
        if start is None:
            break
        end = _walk(world, site, start, minutes)
        if closes is not None and start < closes < end:
            end = closes
        if _most_at_once(world, site, start, end) < _site(world, site).hands:
            return start, end
    return 10**9, 10**9


def _walk(world: _World, site: str, start: int, minutes: int) -> int:
    left = minutes
    for opens, closes in _site(world, site).windows:
        here = max(opens, start)
        if closes <= here:
            continue
        if left <= closes - here:
            return here + left
        left -= closes - here
    return 10**9


def _most_at_once(world: _World, site: str, start: int, end: int) -> int:
    others = [(begins, ends) for begins, ends in world.busy[site] if begins < end and ends > start]
    instants = [start, *(begins for begins, _ in others if begins > start)]
    return max(sum(begins <= instant < ends for begins, ends in others) for instant in instants)
