"""Why there, why then: a plan's choice in one sentence, with what the other sites would have cost."""

from relay.errors import MissingError
from relay.shifts.chain import cause_in_words
from relay.shifts.layout import Layout, Path, lay_out
from relay.shifts.openings import FAR
from relay.shifts.plan import Outlook, Plan, Score
from relay.shifts.problem import Problem
from relay.shifts.search import Search, State
from relay.shifts.spoken import how_long, listed, name_of, named, when
from relay.shifts.steady import retold

SHOWN = 3
"""So many other sites are spelt out, the best first."""


def why(problem: Problem, plan: Plan, task: str) -> str:
    """Return why `task` is where and when it is in `plan`, which was made for `problem`.

    Raises MissingError if the plan has no such task.
    """
    outlook = next((each for each in plan.outlooks.values() if each.task == task), None)
    if outlook is None:
        raise MissingError(f"The plan has no task {task!r}: it is done already, or named otherwise.")
    pieces = [piece for piece in plan.pieces if piece.task == task]
    first = pieces[0]
    span = f"from {when(problem, first.start)} to {when(problem, outlook.finish)}"
    where = f"{named(problem, outlook.task)} is at {listed(list(outlook.sites))}"
    said = [f"{where} {span}: {cause_in_words(problem, first.cause, first)}"]
    said += [
        f"{piece.site} goes on at {when(problem, piece.start)}: {cause_in_words(problem, piece.cause, piece)}"
        for piece in pieces[1:]
    ]
    said.append(_others(problem, plan, outlook))
    said.append(_room(problem, plan, outlook))
    if outlook.task in plan.forced:
        said.append("it cannot stay where people were told")
    elif outlook.task in plan.changes:
        said.append("people were told otherwise, and the change is worth its price")
    return "; ".join(each for each in said if each) + "."


def _room(problem: Problem, plan: Plan, outlook: Outlook) -> str:
    if outlook.slack == 0:
        said = f"it sets the finish of all, {when(problem, plan.score.finish)}"
    else:
        said = f"it may slip {how_long(outlook.slack)} before the finish of all moves"
    if outlook.spare is None:
        return said
    if outlook.spare < 0:
        return f"{said}; a date that depends on it is missed by {how_long(outlook.spare)}"
    return f"{said}, and {how_long(outlook.spare)} before a date is missed"


def _others(problem: Problem, plan: Plan, outlook: Outlook) -> str:
    layout = lay_out(problem)
    number = layout.numbers[outlook.task]
    task = layout.tasks[number]
    if task.claim is not None:
        return f"{task.claim.site} holds it since {when(problem, task.claim.since)}"
    state = retold(layout, plan)
    if len(layout.sites[number]) == 1 and len(outlook.sites) == 1:
        return "no other site can do it" if len(layout.group[number]) == 1 else _alone(layout, number)
    names = [site.name for site in problem.sites]
    search = Search(layout, 0, movable=[True] * len(layout.tasks), allowed=None)
    said: list[tuple[Score, str]] = []
    for site in layout.sites[number]:
        path: Path = ((site, 0),)
        if state.draft.paths[number] == path:
            continue
        found = search.best_with(state, number, path)
        said.append((found.score, f"{names[site]} {_in_comparison(layout, state, found, number)}"))
    told = [sentence for _, sentence in sorted(said)[:SHOWN]]
    if len(said) > SHOWN:
        told.append(f"the other {len(said) - SHOWN} come out behind these")
    return f"in this plan {', '.join(told)}" if told else ""


def _alone(layout: Layout, number: int) -> str:
    others = [name_of(layout.tasks[each]) for each in layout.group[number] if each != number]
    return f"it stays with {listed(others[:3])}, and no other site can do all of that"


def _in_comparison(layout: Layout, state: State, found: State, number: int) -> str:
    last = layout.last_item[number]
    if found.timing.end[last] >= FAR:
        return "would never finish it"
    later = found.timing.end[last] - state.timing.end[last]
    whole = found.score.finish - state.score.finish
    said = "would finish it then too"
    if later:
        said = f"would finish it {how_long(later)} {'later' if later > 0 else 'earlier'}"
    if whole > 0:
        return f"{said} and all of it {how_long(whole)} later"
    if whole < 0:
        return f"{said} and all of it {how_long(whole)} earlier"
    return f"{said} with the same finish of all{_price(state, found)}"


def _price(state: State, found: State) -> str:
    if found.score.overstay > state.score.overstay:
        return f" but a print would overstay by {how_long(found.score.overstay - state.score.overstay)}"
    if found.score.late > state.score.late:
        return f" but {how_long(found.score.late - state.score.late)} more lateness"
    if found.score.hand_ons > state.score.hand_ons:
        return " but one hand-on more"
    return " and a less fair load" if found.score.load > state.score.load else ""
