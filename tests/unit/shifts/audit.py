"""Holds a plan to its problem, from the problem's own words: hours, hands, journeys, prints, claims."""

from itertools import pairwise

from relay.shifts.plan import Piece, Plan
from relay.shifts.problem import Overnight, Problem, Task


def audit(problem: Problem, plan: Plan) -> None:
    """Assert that the plan is possible, and that its figures are those of its pieces."""
    tasks = {task.id: task for task in problem.tasks if task.done is None}
    pieces = {name: [piece for piece in plan.pieces if piece.task == name] for name in tasks}
    for name, task in tasks.items():
        assert pieces[name], f"{name} is left out"
        _audit_work(problem, task, pieces[name])
        _audit_journeys(problem, task, pieces)
    _audit_hands(problem, plan, tasks)
    _audit_groups(problem, pieces)
    last = max(piece.finish for piece in plan.pieces)
    assert plan.score.finish == last
    dates = [(name, date) for name, task in tasks.items() for date in (task.due, problem.premiere) if date is not None]
    assert plan.score.late == max([0, *(pieces[name][-1].finish - date for name, date in dates)])
    assert plan.score.hand_ons == sum(piece.handed_on for piece in plan.pieces)


def _audit_work(problem: Problem, task: Task, pieces: list[Piece]) -> None:
    left, whole = 1.0, {choice.site: choice.work.likely for choice in task.choices}
    for number, piece in enumerate(pieces):
        windows = next(site.windows for site in problem.sites if site.name == piece.site)
        worked = sum(end - start for start, end in piece.spells)
        if task.claim and task.claim.finish is not None:
            assert piece.finish == max(task.claim.finish, problem.now)
            return
        if task.overnight is Overnight.RUNS_ON:
            assert any(opens <= piece.start < closes for opens, closes in windows)
            assert piece.finish - piece.start == whole[piece.site] == worked
            return
        for start, end in piece.spells:
            covered = sum(max(min(end, closes) - max(start, opens), 0) for opens, closes in windows)
            assert covered == end - start, f"{task.id} works at {piece.site} while it is closed"
        if task.overnight is Overnight.ONE_SHIFT:
            assert len(piece.spells) == 1
        fresh = worked
        if number == 0 and task.claim:
            fresh = sum(end - max(start, problem.now) for start, end in piece.spells if end > problem.now)
            left -= task.claim.done / max(whole[piece.site], 1)
        elif number:
            assert task.hand_on is not None
            fresh = max(worked - task.hand_on.reading, 0)
        share = fresh / max(whole[piece.site], 1)
        # Each hand-on rounds what is left up to a whole minute.
        assert share >= left - 1e-9 or piece.handed_on, f"{task.id} is not finished"
        if piece.handed_on:
            assert piece.finish in {closes for _, closes in windows}
        else:
            assert share <= max(left, 0) + (number + 1e-9) / max(whole[piece.site], 1)
        left -= share
    assert not pieces[-1].handed_on


def _audit_journeys(problem: Problem, task: Task, pieces: dict[str, list[Piece]]) -> None:
    under_way = task.claim is not None and (task.claim.done > 0 or task.claim.finish is not None)
    for number, piece in enumerate(pieces[task.id]):
        if not under_way:
            assert piece.start >= max(problem.now, task.earliest)
        for before in task.after:
            if before not in pieces:
                continue
            source = pieces[before][-1]
            legs = next(each.legs for each in problem.tasks if each.id == before) or problem.legs
            assert piece.start >= source.finish + _leg(legs, source.site, piece.site)
        if number:
            source = pieces[task.id][number - 1]
            assert piece.start >= source.finish + _leg(task.hand_on.legs, source.site, piece.site)
        if task.loan and not task.claim:
            stays = next(loan.stays for loan in problem.loans if loan.name == task.loan)
            assert any(
                stay.site == piece.site and stay.arrives <= piece.start and piece.finish <= stay.leaves
                for stay in stays
            )


def _leg(legs, here: str, there: str) -> int:
    return 0 if here == there else legs[here, there]


def _audit_hands(problem: Problem, plan: Plan, tasks: dict[str, Task]) -> None:
    for site in problem.sites:
        here = [piece for piece in plan.pieces if piece.site == site.name]
        for stage, hands in [(None, site.hands), *site.stage_hands.items()]:
            mine = [piece for piece in here if stage in {None, tasks[piece.task].stage}]
            for piece in mine:
                claim = tasks[piece.task].claim
                if claim and claim.finish is not None:
                    continue  # it says so itself, and may be one more than there are hands
                instant = max(piece.start, problem.now)
                busy = [each.task for each in mine if max(each.start, problem.now) <= instant < each.finish]
                assert len(busy) <= hands, f"{site.name} has {hands} hands and does {busy} at {instant}"


def _audit_groups(problem: Problem, pieces: dict[str, list[Piece]]) -> None:
    words: dict[str, set[str]] = {}
    for task in problem.tasks:
        if task.stays_with:
            words.setdefault(task.stays_with, set()).update(
                [task.done.site] if task.done else [piece.site for piece in pieces[task.id]]
            )
    assert all(len(sites) == 1 for sites in words.values())


def order_at_sites(plan: Plan) -> list[tuple[str, str]]:
    """Return who follows whom at each site, by start."""
    sites = sorted({piece.site for piece in plan.pieces})
    return [(one.task, two.task) for site in sites for one, two in pairwise(plan.at(site))]
