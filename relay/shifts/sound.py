"""What cannot be planned at all, named in a sentence before any planning begins."""

from datetime import timedelta

from relay.errors import RefusedError
from relay.shifts.layout import Layout, in_route_order, lay_out
from relay.shifts.openings import Openings
from relay.shifts.problem import Overnight, Problem, SiteHours, Task, TaskId
from relay.shifts.spoken import how_long, listed, name_of, when


def check_problem(problem: Problem) -> None:
    """Raise RefusedError if the problem contradicts itself, or something in it is impossible whatever the plan."""
    sound_layout(problem)


def sound_layout(problem: Problem) -> Layout:
    """Return the problem laid out, once it is checked. Raises RefusedError as `check_problem` does."""
    _check_names(problem)
    _check_figures(problem)
    _check_premiere(problem)
    _check_loop(problem)
    openings = {site.name: Openings(site.windows) for site in problem.sites}
    for task in problem.tasks:
        if task.done is None:
            _check_somebody_can(problem, task, openings)
    layout = lay_out(problem)
    _check_groups(layout)
    return layout


def _check_names(problem: Problem) -> None:
    sites = {site.name for site in problem.sites}
    tasks: set[TaskId] = set()
    for task in problem.tasks:
        if task.id in tasks:
            raise RefusedError(f"Two tasks are both called {task.id!r}: give each its own id.")
        tasks.add(task.id)
    loans = {loan.name for loan in problem.loans}
    for task in problem.tasks:
        wanted = [choice.site for choice in task.choices] + ([task.claim.site] if task.claim else [])
        for name in wanted:
            if name not in sites:
                raise RefusedError(f"{name_of(task)} may be done at {name!r}, but no such site has open hours: add it.")
        for before in task.after:
            if before not in tasks:
                raise RefusedError(f"{name_of(task)} takes from {before!r}, which is not among the tasks: add it.")
        if task.loan is not None and task.loan not in loans:
            raise RefusedError(
                f"{name_of(task)} needs the print {task.loan!r}, but no such loan is given: add its stays."
            )
        if task.claim is not None and all(choice.site != task.claim.site for choice in task.choices):
            raise RefusedError(
                f"{name_of(task)} is claimed at {task.claim.site}, but no working time is given for it there: "
                "add that site to its choices."
            )


def _check_figures(problem: Problem) -> None:
    if problem.epoch.tzinfo is None or problem.epoch.utcoffset() != timedelta(0):
        raise RefusedError(f"The epoch {problem.epoch} is no UTC instant: times are reckoned from one.")
    for site in problem.sites:
        last = None
        for opens, closes in site.windows:
            if closes <= opens or (last is not None and opens < last):
                raise RefusedError(
                    f"The open hours of {site.name} are out of order at {when(problem, opens)}: "
                    "expected windows that follow each other, each ending after it begins."
                )
            last = closes
    for task in problem.tasks:
        for choice in task.choices:
            work = choice.work
            if not 0 <= work.low <= work.likely <= work.high:
                raise RefusedError(
                    f"{name_of(task)} at {choice.site} takes {work.low} to {work.high} minutes, most likely "
                    f"{work.likely}: expected low <= likely <= high, none negative."
                )


def _check_premiere(problem: Problem) -> None:
    if (
        problem.premiere is not None
        and problem.premiere <= problem.now
        and any(not each.done for each in problem.tasks)
    ):
        raise RefusedError(
            f"The premiere was at {when(problem, problem.premiere)} and it is {when(problem, problem.now)}: "
            "give a date that is still to come."
        )


def _check_loop(problem: Problem) -> None:
    places = {task.id: at for at, task in enumerate(problem.tasks)}
    after: list[list[int]] = [[] for _ in problem.tasks]
    for at, task in enumerate(problem.tasks):
        for before in task.after:
            after[places[before]].append(at)
    stuck = set(range(len(after))) - set(in_route_order(after))
    if stuck:
        # Whoever is stuck waits for somebody who is stuck: walking back must come round.
        walk = [min(stuck)]
        while (
            back := min(places[name] for name in problem.tasks[walk[-1]].after if places[name] in stuck)
        ) not in walk:
            walk.append(back)
        round_trip = [name_of(problem.tasks[at]) for at in (back, *reversed(walk[walk.index(back) :]))]
        raise RefusedError(
            f"The route runs in a circle: {', then '.join(round_trip)}. "
            "Take out one of these steps' `after`, or nothing in it can ever begin."
        )


def _check_somebody_can(problem: Problem, task: Task, openings: dict[str, Openings]) -> None:
    if not task.choices:
        raise RefusedError(f"No site can do {name_of(task)}: give the stage {task.stage!r} to a site.")
    sites = {site.name: site for site in problem.sites}
    offered = [(sites[choice.site], choice) for choice in task.choices]
    if task.claim is not None:
        offered = [(site, choice) for site, choice in offered if site.name == task.claim.site]
    able = [(site, choice) for site, choice in offered if _hands(site, task) > 0 or task.claim]
    if not able:
        raise RefusedError(
            f"No site can do {name_of(task)}: {listed([site.name for site, _ in offered])} "
            f"has no hand for the stage {task.stage!r}."
        )
    longest = {
        site.name: openings[site.name].longest(max(problem.now, task.earliest, choice.earliest))
        for site, choice in able
    }
    if not any(longest.values()) and not (task.claim and task.claim.finish is not None):
        raise RefusedError(
            f"{name_of(task)} can never be done: {listed(list(longest))} does not open again after "
            f"{when(problem, max(problem.now, task.earliest))}. Give it shifts, or look further ahead."
        )
    if task.overnight is Overnight.ONE_SHIFT and all(longest[site.name] < choice.work.likely for site, choice in able):
        name, minutes = max(longest.items(), key=lambda pair: pair[1])
        needed = min(choice.work.likely for _, choice in able)
        raise RefusedError(
            f"{name_of(task)} must begin and end within one shift and takes {how_long(needed)}, but the longest shift "
            f"is {how_long(minutes)}, at {name}: lengthen a shift or split the reel."
        )
    _check_loan(problem, task, [site.name for site, _ in able])


def _check_loan(problem: Problem, task: Task, able: list[str]) -> None:
    if task.loan is None or task.claim is not None:
        return
    stays = next(loan.stays for loan in problem.loans if loan.name == task.loan)
    if not any(stay.site in able for stay in stays):
        raise RefusedError(
            f"{name_of(task)} needs the print {task.loan}, which is never at {listed(able)}: "
            "have it shipped to a site that does the stage."
        )


def _hands(site: SiteHours, task: Task) -> int:
    return min(site.hands, site.stage_hands.get(task.stage, site.hands))


def _check_groups(layout: Layout) -> None:
    for number, task in enumerate(layout.tasks):
        if not layout.sites[number]:
            others = [name_of(layout.tasks[each]) for each in layout.group[number] if each != number]
            raise RefusedError(
                f"{name_of(task)} must stay at one site with {listed(others) if others else 'work that is done'}, "
                "but no site can do all of it: let it move, or give one site every stage."
            )
