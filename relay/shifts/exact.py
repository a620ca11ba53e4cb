"""A second opinion on a small plan from OR-Tools CP-SAT, where the extra `solver` is installed. Loaded when asked.

The solver sees every task at one site from beginning to end: it proposes sites and an order; `time_items` alone says
when. So what it says is taken only if the plan that comes of it is better: a mistake here can cost time, never truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from relay.shifts.first_plan import Draft
from relay.shifts.layout import in_route_order
from relay.shifts.openings import FAR, Openings
from relay.shifts.search import State, timed
from relay.shifts.timing import place_by_manner

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    from relay.shifts.layout import Layout

LARGEST = 400
"""More choices (tasks times sites) than this are not given to the solver."""
WORKERS = 2
"""Threads of the solver: what the least machine has. More of them on two cores only take turns."""
MOST_SHIFTS = 120
"""Each choice costs a few facts for every shift before the known finish."""


@dataclass(slots=True)
class _Model:
    model: cp_model.CpModel
    horizon: int
    start: list[cp_model.IntVar] = field(default_factory=list)
    end: list[cp_model.IntVar] = field(default_factory=list)
    at: list[dict[int, cp_model.IntVar]] = field(default_factory=list)
    pools: dict[int, list[cp_model.IntervalVar]] = field(default_factory=dict)
    loads: dict[int, list[cp_model.LinearExprT]] = field(default_factory=dict)
    """Pool to the minutes that each of its tasks keeps a hand there at least, if it is done there."""


def proved(layout: Layout, state: State, seconds: float, movable: Sequence[bool] | None = None) -> State:
    """Return a plan no worse than `state`, sought for so many seconds; `state` itself where that cannot help.

    What is not `movable` keeps its path (all is movable, where nothing is said); other hand-ons are given up where that
    brings the finish forward.
    """
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        return state
    movable = movable or [True] * len(layout.tasks)
    choices = sum(len(sites) for sites in layout.sites)
    bound = max(layout.known_finish[task] is not None for task in range(len(layout.tasks))) if layout.tasks else True
    if bound or choices > LARGEST or state.score.finish >= FAR or state.score.overstay:
        return state
    built = _Model(cp_model.CpModel(), state.score.finish + max(state.score.late, 0))
    for task in range(len(layout.tasks)):
        sites = layout.sites[task] if movable[task] else (state.draft.paths[task][0][0],)
        _add_task(layout, built, task, state, sites)
    _add_order(layout, built)
    _add_hands(layout, built)
    _add_aim(layout, built)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = WORKERS
    solver.parameters.random_seed = 0
    if solver.solve(built.model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return state
    found = timed(layout, _draft(layout, built, solver, state, movable))
    return found if found is not None and found.score < state.score else state


def _add_task(layout: Layout, built: _Model, task: int, state: State, sites: Sequence[int]) -> None:
    """One start and one end; at each site it may be done, a length that depends on when it starts."""
    model, last = built.model, layout.last_item[task]
    start = model.new_int_var(0, built.horizon, "")
    end = model.new_int_var(0, built.horizon, "")
    model.add_hint(start, min(state.timing.start[layout.first_item[task]], built.horizon))
    model.add_hint(end, min(state.timing.end[last], built.horizon))
    at: dict[int, cp_model.IntVar] = {}
    lengths: list[tuple[int, cp_model.IntVar]] = []
    for site in sites:
        here = model.new_bool_var("")
        model.add_hint(here, state.draft.paths[task][0][0] == site)
        pieces = _lengths(layout, task, site, built.horizon)
        if not pieces:
            model.add(here == 0)
        elif len(pieces) == 1:
            earliest, latest, _ = pieces[0]
            model.add(start >= earliest).only_enforce_if(here)
            model.add(start <= latest).only_enforce_if(here)
        else:
            _add_pieces(model, start, end, here, pieces)
        if len(pieces) == 1:  # a known size tells the solver much more
            interval = model.new_optional_interval_var(start, pieces[0][2], end, here, "")
            lengths.append((pieces[0][2], here))
        else:
            size = model.new_int_var(0, built.horizon, "")
            interval = model.new_optional_interval_var(start, size, end, here, "")
        for pool in layout.pools[task][site]:
            built.pools.setdefault(pool, []).append(interval)
            built.loads.setdefault(pool, []).append(min((piece[2] for piece in pieces), default=0) * here)
        at[site] = here
    model.add_exactly_one(at.values())
    if len(lengths) == len(at):
        model.add(end == start + sum(length * here for length, here in lengths))
    built.start.append(start)
    built.end.append(end)
    built.at.append(at)


def _add_pieces(
    model: cp_model.CpModel,
    start: cp_model.IntVar,
    end: cp_model.IntVar,
    here: cp_model.IntVar,
    pieces: list[tuple[int, int, int]],
) -> None:
    chosen = []
    for earliest, latest, length in pieces:
        this = model.new_bool_var("")
        model.add(start >= earliest).only_enforce_if(this)
        model.add(start <= latest).only_enforce_if(this)
        model.add(end == start + length).only_enforce_if(this)
        chosen.append(this)
    model.add(sum(chosen) == here)


def _lengths(layout: Layout, task: int, site: int, horizon: int) -> list[tuple[int, int, int]]:
    """Return (first start, last start, length): between two closings a later start changes no length."""
    openings, ready = layout.openings[site], layout.floor[task][site]
    minutes = max(layout.likely[task][site] - layout.credit[task], 0)
    overnight, stays = layout.tasks[task].overnight, layout.stays[task]
    found: list[tuple[int, int, int]] = []
    spans = [(ready, horizon)] if stays is None else [(max(ready, since), until) for since, until in stays[site]]
    for since, until in spans:
        for low, high in _steady_starts(openings, minutes, since, min(until, horizon)):
            start, end = place_by_manner(overnight, openings, low, minutes)
            if start == low and end <= until:
                found.append((low, min(high, until - (end - start), horizon), end - start))
    return [piece for piece in found if piece[0] <= piece[1]]


def _steady_starts(openings: Openings, minutes: int, since: int, until: int) -> list[tuple[int, int]]:
    """Return the open starts in [since, until], cut where the number of closed nights ahead may change."""
    cuts: set[int] = set()
    for closes in openings.closes:
        if since <= closes <= until:
            # Whoever starts later than this does not finish by that closing.
            cuts.add(openings.last_start(closes, minutes) + 1)
    found = []
    for opens, closes in zip(openings.opens, openings.closes, strict=True):
        low, high = max(opens, since), min(closes - 1, until)
        if low > high:
            continue
        edges = sorted({low, *(cut for cut in cuts if low < cut <= high), high + 1})
        found += [(edge, after - 1) for edge, after in pairwise(edges)]
        if len(found) > MOST_SHIFTS:
            break
    return found


def _add_order(layout: Layout, built: _Model) -> None:
    for task in range(len(layout.tasks)):
        for item, legs in layout.before[task]:
            other = layout.task_of[item]
            if not any(legs[here][there] for here in built.at[other] for there in built.at[task] if here != there):
                built.model.add(built.start[task] >= built.end[other])
                continue
            for here, was_here in built.at[other].items():
                for there, is_there in built.at[task].items():
                    if legs[here][there] >= FAR:
                        built.model.add_bool_or([was_here.negated(), is_there.negated()])
                    else:
                        lands = built.end[other] + legs[here][there]
                        built.model.add(built.start[task] >= lands).only_enforce_if([was_here, is_there])
        head = layout.group[task][0]
        if head != task:
            for site, chosen in built.at[task].items():
                built.model.add(chosen == built.at[head][site])


def _add_hands(layout: Layout, built: _Model) -> None:
    for pool, intervals in built.pools.items():
        if layout.hands[pool] == 1:
            built.model.add_no_overlap(intervals)
        else:
            built.model.add_cumulative(intervals, [1] * len(intervals), layout.hands[pool])


def _add_aim(layout: Layout, built: _Model) -> None:
    model = built.model
    finish = model.new_int_var(0, built.horizon, "")
    model.add_max_equality(finish, built.end)
    late = model.new_int_var(0, built.horizon, "")
    for end, due in zip(built.end, layout.due, strict=True):
        if due is not None:
            model.add(late >= end - due)
    for pool, loads in built.loads.items():  # known already, but said so the solver bounds the finish by it
        model.add(sum(loads) <= layout.hands[pool] * finish)
    model.minimize(late * (built.horizon + 1) + finish)


def _draft(layout: Layout, built: _Model, solver: cp_model.CpSolver, state: State, movable: Sequence[bool]) -> Draft:
    start = [solver.value(each) for each in built.start]
    rank = {task: at for at, task in enumerate(in_route_order(layout.after))}
    tasks = sorted(range(len(start)), key=lambda task: (not layout.pinned[task], start[task], rank[task]))
    order = [item for task in tasks for item in range(layout.first_item[task], layout.last_item[task] + 1)]
    chosen = [((next(site for site, here in at.items() if solver.value(here)), 0),) for at in built.at]
    paths = [path if movable[task] else state.draft.paths[task] for task, path in enumerate(chosen)]
    return Draft(order, paths)
