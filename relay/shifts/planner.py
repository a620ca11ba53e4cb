"""Plans work: where and when; the soonest finish against the dates, then the fewest hand-ons, then the fairest load."""

from collections.abc import Callable

from relay.shifts.first_plan import Draft, first_draft, latest_starts
from relay.shifts.layout import Layout
from relay.shifts.outcome import plan_of
from relay.shifts.plan import Budget, Method, Plan, Score
from relay.shifts.problem import Problem
from relay.shifts.search import Allowed, Search, State, chain_of, last_of, timed
from relay.shifts.sound import sound_layout
from relay.shifts.steady import Promise, promise_of
from relay.shifts.tidy import tidied
from relay.shifts.timing import Timing

_FOR_TIDYING = 0.15
"""The share of the budget that is kept for hand-ons and load."""


def tries(count: int) -> Budget:
    """Return a budget of so many steps: the same plan on every machine."""
    left = count + 1

    def share() -> float:
        nonlocal left
        left -= 1
        return left / max(count, 1)

    return share


def no_time() -> float:
    """Answer, as a budget, that only the first plan is wanted."""
    return 0.0


def plan_work(problem: Problem, budget: Budget = no_time, *, seed: int = 0, exact_seconds: float = 0.0) -> Plan:
    """Return where and when every task that is not done is worked on.

    A first plan comes at once; `budget` says how long it is improved. With `exact_seconds` a small problem is given to
    a solver for so long (the extra `solver`; without it, nothing happens), and `Plan.method` says whether its plan was
    taken. What `problem.told` says is kept to, as `relay.shifts.steady` has it. Raises RefusedError if something is
    impossible, and names it.
    """
    layout = sound_layout(problem)
    promise = promise_of(layout)
    state = _pushed_early(layout, _told_state(layout, promise) if promise.paths else _first_state(layout))
    baseline = state.score
    promise.put_right(state.timing)

    def allowed(draft: Draft, timing: Timing, score: Score) -> bool:
        return promise.allows(baseline, draft, timing, score)

    search = Search(layout, seed, movable=promise.movable, allowed=allowed if promise.paths else None)
    if budget() > 0:
        state = search.improve(state, _until(budget, _FOR_TIDYING))
    method: Method = "search"
    if exact_seconds > 0:
        from relay.shifts.exact import proved

        found = proved(layout, state, exact_seconds, promise.movable)
        if found is not state and (not promise.paths or allowed(found.draft, found.timing, found.score)):
            state, method = found, "solver"
    state = tidied(layout, search, state, promise.movable, budget)
    state = _pushed_early(layout, state, allowed if promise.paths else None)
    return plan_of(layout, state, promise.changes(state.draft.paths, state.timing), promise.forced, method)


def _pushed_early(layout: Layout, state: State, allowed: Allowed | None = None) -> State:
    """Return the plan that comes of its own order by start, again and again until no piece moves any more."""
    while True:
        order = sorted(state.draft.order, key=state.timing.start.__getitem__)
        found = timed(layout, Draft(order, state.draft.paths))
        if found is None or not found.score < state.score:
            break
        if allowed is not None and not allowed(found.draft, found.timing, found.score):
            break
        state = found
    state.chain = chain_of(state.timing, last_of(layout, state.timing)) if layout.tasks else []
    return state


def _until(budget: Budget, share: float) -> Budget:
    return lambda: (budget() - share) / (1 - share)


def _first_state(layout: Layout) -> State:
    """Return the best of the plans that simple rules give."""
    latest = latest_starts(layout)
    keys = [_in_order(task.order) for task in layout.tasks]
    place = {task: at for at, task in enumerate(sorted(range(len(keys)), key=keys.__getitem__))}
    rules: list[Callable[[int, int], tuple[float, ...]]] = [
        lambda task, _: (latest[task], place[task]),
        lambda task, ready: (ready, latest[task], place[task]),
        lambda task, _: (place[task],),
    ]
    states = [timed(layout, first_draft(layout, rule)) for rule in rules]
    return min((state for state in states if state is not None), key=lambda state: state.score)


def _told_state(layout: Layout, promise: Promise) -> State:
    """Return the told plan, put right for what has happened since; new tasks slip into its gaps."""
    latest = latest_starts(layout)

    def rank(task: int, _: int) -> tuple[float, ...]:
        return (0.0, promise.starts[task][0]) if task in promise.starts else (1.0, latest[task])

    state = timed(layout, first_draft(layout, rank, promise.paths, promise.starts))
    if state is None:
        raise AssertionError("a draft without a limit has times")
    return state


def _in_order(order: tuple[int | str, ...]) -> tuple[tuple[bool, int, str], ...]:
    return tuple((isinstance(each, str), 0, each) if isinstance(each, str) else (False, each, "") for each in order)
