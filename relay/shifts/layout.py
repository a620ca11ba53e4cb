"""A problem laid out in arrays of numbers, as the search wants it. Sites and tasks become their places in the problem.

A task that may be handed on has three *items*, one for each piece it may come in; any other task has one. Items, not
tasks, are put in order: a later piece at another site takes its turn there by its own start.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from relay.shifts.openings import FAR, Openings
from relay.shifts.problem import Legs, Overnight, Problem, Task

PIECES = 3
"""At most so many sites share one task: two hand-ons."""

Path = tuple[tuple[int, int], ...]
"""A task's sites in turn, and after how many closings each hands on; 0 at the last: it finishes there."""

Matrix = tuple[tuple[int, ...], ...]
"""Minutes from a site (row) to a site (column)."""


@dataclass(slots=True)
class Layout:
    """Everything by number. `[task][site]` is -1 or FAR where the task cannot be done at the site."""

    problem: Problem
    places: dict[str, int]
    """Site name to number."""
    numbers: dict[str, int]
    """Task id to number; done tasks have none."""
    tasks: list[Task]
    openings: list[Openings]
    hands: list[int]
    """Pool to hands."""
    first_item: list[int] = field(default_factory=list)
    last_item: list[int] = field(default_factory=list)
    task_of: list[int] = field(default_factory=list)
    """Item to task."""
    part_of: list[int] = field(default_factory=list)
    """Item to the place of its piece in the path."""
    before: list[tuple[tuple[int, Matrix], ...]] = field(default_factory=list)
    """Task to the last items of the tasks before it, and what their outcomes need to travel."""
    after: list[tuple[int, ...]] = field(default_factory=list)
    """Task to the tasks that take from it."""
    floor: list[list[int]] = field(default_factory=list)
    """[task][site]: nothing but hands, loans and the tasks before it can hold it up from then on."""
    likely: list[list[int]] = field(default_factory=list)
    credit: list[int] = field(default_factory=list)
    """Task to the working minutes that its claim has spent on it already."""
    low: list[list[int]] = field(default_factory=list)
    high: list[list[int]] = field(default_factory=list)
    pools: list[list[tuple[int, ...]]] = field(default_factory=list)
    """[task][site]: the pools it takes a hand from."""
    sites: list[tuple[int, ...]] = field(default_factory=list)
    """Task to the sites it may be begun at."""
    takers: list[tuple[int, ...]] = field(default_factory=list)
    """Task to the sites that could go on with it half-done."""
    half_done: list[Matrix | None] = field(default_factory=list)
    """Task to what its half-done work needs to travel; None: it is never handed on."""
    reading: list[int] = field(default_factory=list)
    stays: list[dict[int, tuple[tuple[int, int], ...]] | None] = field(default_factory=list)
    """Task to the stays of its print by site; None: it needs no print."""
    known_finish: list[int | None] = field(default_factory=list)
    plain: list[bool] = field(default_factory=list)
    """Task to whether it simply pauses over closed hours, with no print and no known finish."""
    pinned: list[bool] = field(default_factory=list)
    """Task to whether it is under way, so that nothing goes ahead of it."""
    group: list[tuple[int, ...]] = field(default_factory=list)
    """Task to the tasks that must be done at one site with it; itself among them."""
    due: list[int | None] = field(default_factory=list)
    tail: list[int] = field(default_factory=list)
    """Task to the minutes that its successors need after it, at the very least."""

    @property
    def size(self) -> int:
        return len(self.task_of)


def lay_out(problem: Problem) -> Layout:
    """Return `problem` in numbers. It is taken to be sound: see `relay.shifts.sound.check_problem`."""
    tasks = [task for task in problem.tasks if task.done is None]
    layout = Layout(
        problem=problem,
        places={site.name: at for at, site in enumerate(problem.sites)},
        numbers={task.id: at for at, task in enumerate(tasks)},
        tasks=tasks,
        openings=[Openings(site.windows) for site in problem.sites],
        hands=[site.hands for site in problem.sites],
    )
    matrices = _Matrices(layout)
    _lay_items(layout)
    _lay_choices(layout)
    _lay_order(layout, matrices)
    _lay_manners(layout, matrices)
    _lay_groups(layout)
    _lay_tails(layout)
    return layout


class _Matrices:
    """Legs as matrices, each laid out once."""

    def __init__(self, layout: Layout) -> None:
        self._names = list(layout.places)
        self._problem = layout.problem
        self._known: dict[int, Matrix] = {}

    def of(self, legs: Legs | None) -> Matrix:
        found = self._problem.legs if legs is None else legs
        if id(found) not in self._known:
            self._known[id(found)] = tuple(
                tuple(0 if here == there else found.get((here, there), FAR) for there in self._names)
                for here in self._names
            )
        return self._known[id(found)]


def may_be_handed_on(task: Task) -> bool:
    """Say whether `task` may come in several pieces."""
    bound = task.stays_with is not None or task.loan is not None or (task.claim and task.claim.finish is not None)
    return task.hand_on is not None and task.overnight is Overnight.PAUSES and not bound


def _lay_items(layout: Layout) -> None:
    for number, task in enumerate(layout.tasks):
        layout.first_item.append(len(layout.task_of))
        for part in range(PIECES if may_be_handed_on(task) else 1):
            layout.task_of.append(number)
            layout.part_of.append(part)
        layout.last_item.append(len(layout.task_of) - 1)


def _lay_choices(layout: Layout) -> None:
    count = len(layout.openings)
    stage_pools = _stage_pools(layout)
    for task in layout.tasks:
        rows = [[-1] * count for _ in range(3)]
        floor = [FAR] * count
        for choice in task.choices:
            site = layout.places[choice.site]
            work = choice.work
            for row, minutes in zip(rows, (work.low, work.likely, work.high), strict=True):
                row[site] = minutes
            floor[site] = max(layout.problem.now, task.earliest, choice.earliest)
        layout.low.append(rows[0])
        layout.likely.append(rows[1])
        layout.high.append(rows[2])
        layout.floor.append(floor)
        layout.credit.append(task.claim.done if task.claim else 0)
        layout.pools.append([stage_pools.get((site, task.stage), (site,)) for site in range(count)])
        layout.sites.append(tuple(site for site in range(count) if can_begin(layout, task, site)))
        free = replace(task, claim=None)
        layout.takers.append(tuple(site for site in range(count) if can_begin(layout, free, site)))


def _stage_pools(layout: Layout) -> dict[tuple[int, str], tuple[int, ...]]:
    found: dict[tuple[int, str], tuple[int, ...]] = {}
    for at, site in enumerate(layout.problem.sites):
        for stage, hands in site.stage_hands.items():
            if hands < site.hands:
                found[at, stage] = (len(layout.hands), at)
                layout.hands.append(hands)
    return found


def can_begin(layout: Layout, task: Task, site: int) -> bool:
    """Say whether `task` may be begun at `site`: a choice, a hand, a stay of its print, a shift that is long enough."""
    hours = layout.problem.sites[site]
    choice = next((each for each in task.choices if each.site == hours.name), None)
    if choice is None or (task.claim is not None and task.claim.site != hours.name):
        return False
    if task.claim is not None:
        return True
    if min(hours.hands, hours.stage_hands.get(task.stage, hours.hands)) < 1:
        return False
    loan = next((each for each in layout.problem.loans if each.name == task.loan), None)
    if loan is not None and all(stay.site != hours.name for stay in loan.stays):
        return False
    since = max(layout.problem.now, task.earliest, choice.earliest)
    longest = layout.openings[site].longest(since)
    return longest >= (choice.work.likely if task.overnight is Overnight.ONE_SHIFT else 1)


def _lay_order(layout: Layout, matrices: _Matrices) -> None:
    done = {task.id: task for task in layout.problem.tasks if task.done is not None}
    after: list[list[int]] = [[] for _ in layout.tasks]
    for number, task in enumerate(layout.tasks):
        before = []
        for name in task.after:
            if name in done:
                _raise_floor(layout, number, done[name], matrices.of(done[name].legs))
                continue
            other = layout.numbers[name]
            before.append((layout.last_item[other], matrices.of(layout.tasks[other].legs)))
            after[other].append(number)
        layout.before.append(tuple(before))
        layout.pinned.append(_is_under_way(task) and not before)
    layout.after = [tuple(each) for each in after]


def _is_under_way(task: Task) -> bool:
    return task.claim is not None and (task.claim.done > 0 or task.claim.finish is not None)


def _raise_floor(layout: Layout, number: int, source: Task, legs: Matrix) -> None:
    done = source.done
    if done is None or _is_under_way(layout.tasks[number]):
        return
    row = layout.floor[number]
    names = list(layout.places)
    for site, name in enumerate(names):
        if name == done.site:
            lands = done.at
        elif name in done.copies:
            lands = done.copies[name]
        else:
            here = layout.places.get(done.site)
            lands = FAR if here is None else max(done.at, layout.problem.now) + legs[here][site]
        row[site] = max(row[site], lands)


def _lay_manners(layout: Layout, matrices: _Matrices) -> None:
    loans = {loan.name: loan for loan in layout.problem.loans}
    for task in layout.tasks:
        handed = task.hand_on if may_be_handed_on(task) else None
        layout.half_done.append(None if handed is None else matrices.of(handed.legs))
        layout.reading.append(0 if handed is None else handed.reading)
        stays: dict[int, tuple[tuple[int, int], ...]] | None = None
        if task.loan is not None:
            listed = sorted(loans[task.loan].stays, key=lambda stay: stay.arrives)
            stays = {
                at: tuple((stay.arrives, stay.leaves) for stay in listed if stay.site == name)
                for name, at in layout.places.items()
            }
        layout.stays.append(stays)
        finish = task.claim.finish if task.claim else None
        layout.known_finish.append(finish)
        layout.plain.append(stays is None and finish is None and task.overnight is Overnight.PAUSES)
        dates = [date for date in (task.due, layout.problem.premiere) if date is not None]
        layout.due.append(min(dates) if dates else None)


def _lay_groups(layout: Layout) -> None:
    words: dict[str, list[int]] = {}
    for number, task in enumerate(layout.tasks):
        if task.stays_with is not None:
            words.setdefault(task.stays_with, []).append(number)
    settled = {task.stays_with: task.done.site for task in layout.problem.tasks if task.done and task.stays_with}
    for number, task in enumerate(layout.tasks):
        group = words[task.stays_with] if task.stays_with is not None else [number]
        layout.group.append(tuple(group))
    for word, group in words.items():
        shared = set.intersection(*(set(layout.sites[each]) for each in group))
        if word in settled:
            shared &= {layout.places.get(settled[word], -1)}
        for each in group:
            layout.sites[each] = tuple(sorted(shared))


def in_route_order(after: Sequence[Sequence[int]]) -> list[int]:
    """Return the tasks so that each comes behind those it takes from; short of some where the route has a loop."""
    waiting = [0] * len(after)
    for followers in after:
        for each in followers:
            waiting[each] += 1
    ordered = [each for each, count in enumerate(waiting) if count == 0]
    for each in ordered:
        for follower in after[each]:
            waiting[follower] -= 1
            if waiting[follower] == 0:
                ordered.append(follower)
    return ordered


def _lay_tails(layout: Layout) -> None:
    layout.tail = [0] * len(layout.tasks)
    for number in reversed(in_route_order(layout.after)):
        layout.tail[number] = max(
            (layout.tail[each] + _least(layout, each) for each in layout.after[number]), default=0
        )


def _least(layout: Layout, number: int) -> int:
    if layout.known_finish[number] is not None:
        return 0
    if layout.half_done[number] is not None:  # two sites may share it, each at its own pace
        return min(minutes for minutes in layout.likely[number] if minutes >= 0)
    return min((layout.likely[number][site] for site in layout.sites[number]), default=0)
