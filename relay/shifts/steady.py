"""Keeps to what people were told. A change is a task sent elsewhere, or called forward ahead of one it was to follow.

First the told plan is *put right*: every task keeps its site, and its turn, except that it need not wait for one that
can no longer keep its own time. The bound: a plan with c changes from that is taken only if it beats it by c times
`worth` minutes in the first thing that differs (overstay, lateness, finish). So a small gain never moves many people,
and no gain moves nobody.
"""

from dataclasses import dataclass, field

from relay.errors import RefusedError
from relay.shifts.first_plan import Draft
from relay.shifts.layout import Layout, Path, in_route_order
from relay.shifts.plan import Plan, Score
from relay.shifts.problem import Told
from relay.shifts.search import State, timed
from relay.shifts.spoken import name_of
from relay.shifts.timing import Timing


@dataclass(slots=True)
class Promise:
    """What was told, by task number; `forced` are those that cannot stay as told."""

    layout: Layout
    paths: dict[int, Path] = field(default_factory=dict)
    starts: dict[int, tuple[int, ...]] = field(default_factory=dict)
    """One for each piece."""
    forced: list[int] = field(default_factory=list)
    movable: list[bool] = field(default_factory=list)

    def put_right(self, timing: Timing) -> None:
        """Take the times of the told plan, put right, for what the order is held to from now on."""
        first = self.layout.first_item
        self.starts = {task: (timing.start[first[task]],) for task in self.starts}

    def changes(self, paths: list[Path], timing: Timing) -> list[int]:
        """Return the tasks that go elsewhere, or are called forward ahead of one that they were told to follow."""
        layout = self.layout
        found = []
        at_site: dict[int, list[tuple[int, int, int]]] = {}
        for task, path in self.paths.items():
            if [site for site, _ in path] != [site for site, _ in paths[task]]:
                found.append(task)
            else:
                start = timing.start[layout.first_item[task]]
                at_site.setdefault(path[0][0], []).append((self.starts[task][0], start, task))
        for waiting in at_site.values():
            waiting.sort()
            behind = -1  # the latest start among those that were told to begin earlier
            told_before, pending = None, behind
            for told, start, task in waiting:
                if told != told_before:
                    behind, told_before = pending, told
                if start < told and start < behind:
                    found.append(task)
                pending = max(pending, start)
        return sorted(found)

    def allows(self, baseline: Score, draft: Draft, timing: Timing, score: Score) -> bool:
        """Say whether what `score` gains over `baseline` is worth the changes."""
        count = len(self.changes(draft.paths, timing))
        if not count:
            return True
        gain = baseline.overstay - score.overstay or baseline.late - score.late or baseline.finish - score.finish
        return gain > 0 and gain >= count * self.layout.problem.steadiness.worth


def promise_of(layout: Layout) -> Promise:
    """Return what the problem's `told` still binds."""
    problem = layout.problem
    promise = Promise(layout, movable=[True] * len(layout.tasks))
    for told in problem.told:
        task = layout.numbers.get(told.task)
        if task is None:
            continue
        path = _path_of(layout, told)
        if path is None or not _is_possible(layout, task, path):
            promise.forced.append(task)
            continue
        promise.paths[task], promise.starts[task] = path, (told.start, *told.later)
    _agree_in_groups(promise)
    firm = problem.now + problem.steadiness.firm
    for task, starts in promise.starts.items():
        for each in layout.group[task] if starts[0] < firm else ():
            promise.movable[each] = False
    return promise


def retold(layout: Layout, plan: Plan) -> State:
    """Return a plan's own order and paths, timed again. Raises RefusedError if it was made for another problem."""
    starts = {told.task: (told.start, *told.later) for told in plan.told()}
    paths: list[Path] = []
    for task in layout.tasks:
        path = plan.paths.get(task.id)
        if path is None:
            raise RefusedError(f"The plan has no {name_of(task)}: it was made for another problem. Plan again.")
        paths.append(tuple((layout.places[site], shifts) for site, shifts in path))
    keys: list[tuple[bool, int, int]] = []
    rank = {task: at for at, task in enumerate(in_route_order(layout.after))}
    for item in range(layout.size):
        number, part = layout.task_of[item], layout.part_of[item]
        name = layout.tasks[number].id
        start = starts[name][part] if part < len(starts[name]) else plan.outlooks[name].finish
        keys.append((not layout.pinned[number] or part > 0, start, rank[number]))
    state = timed(layout, Draft(sorted(range(layout.size), key=keys.__getitem__), paths))
    if state is None:
        raise AssertionError("a draft without a limit has times")
    return state


def _path_of(layout: Layout, told: Told) -> Path | None:
    listed = told.path or ((told.site, 0),)
    if any(site not in layout.places for site, _ in listed):
        return None
    return tuple((layout.places[site], shifts) for site, shifts in listed)


def _is_possible(layout: Layout, task: int, path: Path) -> bool:
    if path[0][0] not in layout.sites[task]:
        return False
    return len(path) == 1 or (
        layout.half_done[task] is not None and all(site in layout.takers[task] for site, _ in path[1:])
    )


def _agree_in_groups(promise: Promise) -> None:
    """Tasks that must share a site may have been told two: the first one told decides, the others are forced."""
    layout = promise.layout
    site_of: dict[int, int] = {}
    for task in sorted(promise.paths, key=lambda each: promise.starts[each]):
        head, site = layout.group[task][0], promise.paths[task][0][0]
        if site_of.setdefault(head, site) != site:
            promise.forced.append(task)
            del promise.paths[task], promise.starts[task]
