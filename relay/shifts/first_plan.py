"""The first plan, built at one go: task after task, each where it is finished soonest, in gaps where it fits."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush

from relay.shifts.diary import Diary
from relay.shifts.layout import PIECES, Layout, Path, in_route_order
from relay.shifts.openings import FAR

Rank = Callable[[int, int], tuple[float, ...]]
"""Who goes first: a task, and when what it takes is there, to a key; the least is placed next."""


@dataclass(slots=True)
class Draft:
    """An order of items and each task's path: all that a plan is made from."""

    order: list[int]
    paths: list[Path]


@dataclass(slots=True)
class _Placing:
    """One way to do one task, as far as it is worked out."""

    path: Path
    spans: tuple[tuple[int, int], ...]
    finish: int = FAR * 10

    def key(self) -> tuple[int, int]:
        return (self.finish, len(self.path))


@dataclass(slots=True)
class _Build:
    layout: Layout
    diary: Diary
    given: Mapping[int, Path]
    not_before: Mapping[int, tuple[int, ...]]
    chosen: dict[int, _Placing] = field(default_factory=dict)
    group_site: dict[int, int] = field(default_factory=dict)


def first_draft(
    layout: Layout,
    rank: Rank,
    given: Mapping[int, Path] | None = None,
    not_before: Mapping[int, tuple[int, ...]] | None = None,
) -> Draft:
    """Return a draft that places the tasks by `rank` as they become free.

    Those in `given` take that path, and their turn as if no piece could begin before its minute in `not_before`.
    """
    build = _Build(layout, Diary(layout), given or {}, not_before or {})
    for task, path in build.given.items():
        build.group_site[layout.group[task][0]] = path[0][0]
    waiting = [len(each) for each in layout.before]
    queue: list[tuple[tuple[float, ...], int]] = []
    for task, count in enumerate(waiting):
        if count == 0:
            heappush(queue, (_key(layout, rank, task, 0), task))
    while queue:
        _, task = heappop(queue)
        placing = _place(build, task)
        _enter(build, task, placing)
        for follower in layout.after[task]:
            waiting[follower] -= 1
            if waiting[follower] == 0:
                ready = max(build.chosen[layout.task_of[item]].finish for item, _ in layout.before[follower])
                heappush(queue, (_key(layout, rank, follower, ready), follower))
    return _draft_of(build)


def latest_starts(layout: Layout) -> list[float]:
    """Return when each task ought to begin at the latest, on average: what its dates and what comes after it leave."""
    latest = [0.0] * len(layout.tasks)
    for task in reversed(in_route_order(layout.after)):
        due = layout.due[task]
        date = float(due) if due is not None else float(layout.problem.premiere or 0)
        for follower in layout.after[task]:
            date = min(date, latest[follower])
        minutes = [each for each in layout.likely[task] if each >= 0]
        latest[task] = date - sum(minutes) / max(len(minutes), 1)
    return latest


def _key(layout: Layout, rank: Rank, task: int, ready: int) -> tuple[float, ...]:
    return (-1.0, *rank(task, ready)) if layout.pinned[task] else (0.0, *rank(task, ready))


def _ready_at(build: _Build, task: int, site: int) -> int:
    layout = build.layout
    ready = layout.floor[task][site]
    for item, legs in layout.before[task]:
        other = build.chosen[layout.task_of[item]]
        ready = max(ready, other.finish + legs[other.path[-1][0]][site])
    return ready


def _place(build: _Build, task: int) -> _Placing:
    layout = build.layout
    sites: Sequence[int] = layout.sites[task]
    head = layout.group[task][0]
    if task in build.given:
        return _follow(build, task, build.given[task])
    if head in build.group_site:
        sites = (build.group_site[head],)
    best = _Placing((), ())
    for site in sites:
        ready = _ready_at(build, task, site)
        if ready >= best.finish:
            continue
        minutes = max(layout.likely[task][site] - layout.credit[task], 0)
        start, finish = build.diary.fit(task, site, ready, minutes)
        whole = _Placing(((site, 0),), ((start, finish),), finish)
        best = min(best, whole, key=_Placing.key)
        if layout.half_done[task] is not None:
            best = _handed_on(build, task, best, _Placing((), ()), (site, ready, minutes, layout.likely[task][site]))
    return best if best.path else _Placing(((sites[0], 0),), ((FAR, FAR),), FAR)


def _handed_on(
    build: _Build, task: int, best: _Placing, so_far: _Placing, piece: tuple[int, int, int, int]
) -> _Placing:
    """Return the best of `best` and all ways to hand on after `piece`: (site, ready, minutes, minutes of the whole)."""
    layout, diary = build.layout, build.diary
    site, ready, minutes, whole = piece
    half_done = layout.half_done[task]
    if half_done is None or len(so_far.path) + 1 >= PIECES:
        return best
    for shifts in (1, 2):
        start, closes = diary.fit(task, site, ready, minutes, shifts)
        worked = layout.openings[site].worked(start, closes)
        reading = layout.reading[task] if so_far.path else 0
        left = minutes - max(worked, reading)
        if left <= 0 or closes >= best.finish:
            break
        before = _Placing((*so_far.path, (site, shifts)), (*so_far.spans, (start, closes)))
        for taker in layout.takers[task]:
            lands = closes + half_done[site][taker]
            todo = layout.reading[task] + -(-left * layout.likely[task][taker] // max(whole, 1))
            if taker == site or lands + todo >= best.finish:
                continue
            lands = max(lands, _ready_at(build, task, taker))
            begins, finish = diary.fit(task, taker, lands, todo)
            done = _Placing((*before.path, (taker, 0)), (*before.spans, (begins, finish)), finish)
            best = min(best, done, key=_Placing.key)
            best = _handed_on(build, task, best, before, (taker, lands, todo, layout.likely[task][taker]))
    return best


def _follow(build: _Build, task: int, path: Path) -> _Placing:
    layout, diary = build.layout, build.diary
    site, shifts = path[0]
    minutes, whole = max(layout.likely[task][site] - layout.credit[task], 0), layout.likely[task][site]
    ready = _ready_at(build, task, site)
    told = build.not_before.get(task, ())
    spans: list[tuple[int, int]] = []
    for part, (site, shifts) in enumerate(path):
        start, finish = diary.fit(task, site, max(ready, told[part] if part < len(told) else 0), minutes, shifts)
        spans.append((start, finish))
        reading = layout.reading[task] if part else 0
        left = minutes - max(layout.openings[site].worked(start, finish), reading) if shifts else 0
        if left <= 0:
            break
        taker = path[part + 1][0]
        half_done = layout.half_done[task]
        ready = max(finish + (half_done[site][taker] if half_done else FAR), _ready_at(build, task, taker))
        minutes = layout.reading[task] + -(-left * layout.likely[task][taker] // max(whole, 1))
        whole = layout.likely[task][taker]
    return _Placing(path, tuple(spans), spans[-1][1])


def _enter(build: _Build, task: int, placing: _Placing) -> None:
    build.chosen[task] = placing
    build.group_site.setdefault(build.layout.group[task][0], placing.path[0][0])
    for (site, _), (start, finish) in zip(placing.path, placing.spans, strict=False):
        build.diary.enter(task, site, start, finish)


def _draft_of(build: _Build) -> Draft:
    layout = build.layout
    starts = [0] * layout.size
    in_order: list[int] = []
    for task, placing in build.chosen.items():
        for item in range(layout.first_item[task], layout.last_item[task] + 1):
            part = layout.part_of[item]
            starts[item] = placing.spans[part][0] if part < len(placing.spans) else placing.finish
            in_order.append(item)
    # A stable sort: tasks of no minutes stay behind those they take from.
    in_order.sort(key=lambda item: (not layout.pinned[layout.task_of[item]] or layout.part_of[item] > 0, starts[item]))
    return Draft(in_order, [build.chosen[task].path for task in range(len(layout.tasks))])
