"""When the finish is as good as it gets: fewer hand-ons, then a fairer load, where that costs the finish no minute."""

from collections.abc import Iterator, Sequence

from relay.shifts.layout import Layout, Path
from relay.shifts.plan import Budget
from relay.shifts.search import Search, State


def tidied(layout: Layout, search: Search, state: State, movable: Sequence[bool], budget: Budget) -> State:
    """Return a plan no worse than `state`, tried task by task until nothing helps or the budget is used up."""
    helped = True
    while helped:
        helped = False
        for task, path in _tries(layout, state, movable):
            if budget() <= 0:
                return state
            found = search.tried(state, task, path)
            if found is not None:
                state, helped = found, True
    return state


def _tries(layout: Layout, state: State, movable: Sequence[bool]) -> Iterator[tuple[int, Path]]:
    paths = state.draft.paths
    handed_on = [task for task, path in enumerate(paths) if len(path) > 1 and movable[task]]
    for task in handed_on:
        for site in layout.sites[task]:
            yield task, ((site, 0),)
    for task, path in enumerate(paths):
        if not movable[task] or len(path) > 1 or layout.group[task][0] != task:
            continue
        for site in layout.sites[task]:
            if site != path[0][0]:
                yield task, ((site, 0),)
