"""From a timed draft to a plan that people read: pieces with their causes, arrivals, room, ranges, and the chain."""

from collections.abc import Sequence

from relay.errors import RefusedError
from relay.shifts.chain import chain_in_words
from relay.shifts.layout import Layout, in_route_order
from relay.shifts.openings import FAR
from relay.shifts.plan import Arrival, Cause, Method, Outlook, Piece, Plan, Setter
from relay.shifts.problem import Overnight, TaskId
from relay.shifts.room import latest_ends
from relay.shifts.search import State
from relay.shifts.spoken import name_of, when
from relay.shifts.timing import Timing, freed_by, time_items


def plan_of(
    layout: Layout,
    state: State,
    changes: Sequence[int] = (),
    forced: Sequence[int] = (),
    method: Method = "search",
) -> Plan:
    """Return the plan. Raises RefusedError if something in it never ends."""
    check_ends(layout, state.timing)
    low, high = (time_items(layout, state.draft.order, state.draft.paths, work) for work in (layout.low, layout.high))
    timing = state.timing
    pieces = [_piece(layout, timing, item) for item in state.draft.order if is_worked(layout, timing, item)]
    pieces.sort(key=lambda piece: piece.start)
    names = list(layout.places)
    return Plan(
        pieces=tuple(pieces),
        arrivals=tuple(sorted(_arrivals(layout, state.timing), key=lambda arrival: arrival.lands)),
        outlooks=_outlooks(layout, state, low, high),
        chain=chain_in_words(layout, state.timing, state.chain, pieces),
        score=state.score,
        finish_low=min(_finish(layout, low), state.score.finish),
        finish_high=max(_finish(layout, high), state.score.finish),
        paths={
            task.id: tuple((names[site], shifts) for site, shifts in path)
            for task, path in zip(layout.tasks, state.draft.paths, strict=True)
        },
        method=method,
        changes=tuple(layout.tasks[task].id for task in changes),
        forced=tuple(layout.tasks[task].id for task in forced),
    )


def is_worked(layout: Layout, timing: Timing, item: int) -> bool:
    """Say whether somebody works on the item; a task that is not handed on leaves its later items empty."""
    return not layout.part_of[item] or timing.left[item - 1] > 0


def check_ends(layout: Layout, timing: Timing) -> None:
    """Raise RefusedError naming the first task that never ends."""
    for item in sorted(layout.last_item, key=timing.end.__getitem__):
        if timing.end[item] < FAR:
            continue
        task = layout.tasks[layout.task_of[item]]
        site = layout.problem.sites[timing.at[item]]
        if timing.start[item] >= FAR and site.windows:
            for other, legs in layout.before[layout.task_of[item]]:
                if timing.end[other] < FAR <= legs[timing.at[other]][timing.at[item]]:
                    source = layout.problem.sites[timing.at[other]].name
                    raise RefusedError(
                        f"{name_of(task)} at {site.name} takes from {source}, but there is no line between the two: "
                        "give the minutes that it takes, or let the stage be done elsewhere."
                    )
        closes = when(layout.problem, site.windows[-1][1]) if site.windows else "the beginning"
        raise RefusedError(
            f"{name_of(task)} does not fit: {site.name} has no open hours left for it after {closes}. "
            "Look further ahead, or give the stage more hands, hours or sites."
        )


def _finish(layout: Layout, timing: Timing | None) -> int:
    return 0 if timing is None else max((timing.end[item] for item in layout.last_item), default=0)


def _piece(layout: Layout, timing: Timing, item: int) -> Piece:
    number, site = layout.task_of[item], timing.at[item]
    task = layout.tasks[number]
    start, finish = timing.start[item], timing.end[item]
    if task.claim is not None and not layout.part_of[item] and layout.pinned[number]:
        start = min(task.claim.since, start)
    through = task.overnight is Overnight.RUNS_ON or layout.known_finish[number] is not None
    return Piece(
        task=task.id,
        site=layout.problem.sites[site].name,
        start=start,
        finish=finish,
        spells=((start, finish),) if through else layout.openings[site].spells(start, finish),
        cause=_cause(layout, timing, item),
        handed_on=timing.left[item] > 0,
    )


def _cause(layout: Layout, timing: Timing, item: int) -> Cause:
    number, site, cause = layout.task_of[item], timing.at[item], timing.cause[item]
    task, stays = layout.tasks[number], layout.stays[number]
    if task.claim is not None and layout.pinned[number] and not layout.part_of[item]:
        return Cause(Setter.CLAIM, task.claim.since)
    arrives = max((since for since, _ in stays[site] if since <= timing.start[item]), default=0) if stays else 0
    ready, setter, other = layout.floor[number][site], Setter.NOW, None
    if cause >= 0:
        same = layout.task_of[cause] == number
        legs = layout.half_done[number] if same else dict(layout.before[number])[cause]
        setter = Setter.HAND_ON if same else Setter.ARRIVAL
        ready = timing.end[cause] + (legs[timing.at[cause]][site] if legs else 0)
        other = None if same else layout.tasks[layout.task_of[cause]].id
    elif (owner := freed_by(cause)) >= 0:
        setter, ready, other = Setter.HAND, timing.end[owner], layout.tasks[layout.task_of[owner]].id
    elif ready > layout.problem.now:
        setter, other = Setter.EARLIEST, None
        outer = max(task.earliest, *(choice.earliest for choice in task.choices if layout.places[choice.site] == site))
        if ready > outer:
            setter, other = Setter.ARRIVAL, _last_done(layout, task.after, site)
    return Cause(Setter.LOAN, arrives) if arrives > ready else Cause(setter, ready, other)


def _last_done(layout: Layout, after: Sequence[TaskId], site: int) -> TaskId | None:
    """Return the finished task whose outcome lands at the site last."""
    name = layout.problem.sites[site].name
    done = [(each.done, each.id) for each in layout.problem.tasks if each.id in after and each.done]
    return max(done, key=lambda pair: pair[0].copies.get(name, FAR if pair[0].site != name else pair[0].at))[1]


def _arrivals(layout: Layout, timing: Timing) -> list[Arrival]:
    names = [site.name for site in layout.problem.sites]
    found = []
    for item in range(layout.size):
        if not is_worked(layout, timing, item):
            continue
        task, site = layout.task_of[item], timing.at[item]
        half_done = layout.half_done[task]
        sources = [(other, legs, False) for other, legs in layout.before[task]]
        if layout.part_of[item] and half_done:
            sources.append((item - 1, half_done, True))
        for other, legs, half in sources:
            source, leaves = timing.at[other], timing.end[other]
            if source != site:
                found.append(
                    Arrival(
                        task=layout.tasks[layout.task_of[other]].id,
                        wanted_by=layout.tasks[task].id,
                        site=names[site],
                        source=names[source],
                        leaves=leaves,
                        lands=leaves + legs[source][site],
                        half_done=half,
                    )
                )
    return found


def _outlooks(layout: Layout, state: State, low: Timing | None, high: Timing | None) -> dict[TaskId, Outlook]:
    timing, order = state.timing, state.draft.order
    names = [site.name for site in layout.problem.sites]
    for_finish = latest_ends(layout, order, timing, [state.score.finish] * len(layout.tasks))
    for_dates = latest_ends(layout, order, timing, [FAR if due is None else due for due in layout.due])
    dated = [due is not None for due in layout.due]
    for number in reversed(in_route_order(layout.after)):
        dated[number] = dated[number] or any(dated[each] for each in layout.after[number])
    found: dict[TaskId, Outlook] = {}
    for number, task in enumerate(layout.tasks):
        last, first = layout.last_item[number], layout.first_item[number]
        worked = [item for item in range(first, last + 1) if is_worked(layout, timing, item)]
        finish = timing.end[last]
        start = timing.start[first]
        found[task.id] = Outlook(
            task=task.id,
            sites=tuple(names[timing.at[item]] for item in worked),
            start=min(task.claim.since, start) if task.claim and layout.pinned[number] else start,
            finish=finish,
            finish_low=min(low.end[last] if low else finish, finish),
            finish_high=max(high.end[last] if high else finish, finish),
            latest_finish=max(for_finish[last], finish),
            spare=for_dates[last] - finish if dated[number] else None,
        )
    return found
