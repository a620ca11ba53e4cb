"""Why a piece begins when it does, and the chain that sets the finish, in sentences with their numbers."""

from collections.abc import Sequence

from relay.shifts.layout import Layout
from relay.shifts.plan import Cause, Link, Piece, Setter
from relay.shifts.problem import Problem
from relay.shifts.spoken import how_long, name_of, named, when
from relay.shifts.timing import Timing


def chain_in_words(layout: Layout, timing: Timing, chain: Sequence[int], pieces: Sequence[Piece]) -> tuple[Link, ...]:
    """Return the chain's items, first to last, each with what held it up."""
    by_place = {(piece.task, piece.site, piece.finish): piece for piece in pieces}
    names = [site.name for site in layout.problem.sites]
    found: list[Link] = []
    for item in chain:
        task = layout.tasks[layout.task_of[item]]
        piece = by_place.get((task.id, names[timing.at[item]], timing.end[item]))
        if piece is not None and (not found or found[-1].sentence != piece_in_words(layout.problem, piece)):
            found.append(Link(task.id, piece_in_words(layout.problem, piece)))
    return tuple(found)


def piece_in_words(problem: Problem, piece: Piece) -> str:
    """Return where and when a piece is worked on, and what it waited for."""
    task = next(each for each in problem.tasks if each.id == piece.task)
    until = "until it is handed on" if piece.handed_on else "until"
    return (
        f"{name_of(task)} at {piece.site} from {when(problem, piece.start)} {until} {when(problem, piece.finish)}: "
        f"{cause_in_words(problem, piece.cause, piece)}."
    )


def cause_in_words(problem: Problem, cause: Cause, piece: Piece) -> str:
    """Return what the piece waited for."""
    ready = when(problem, cause.ready)
    other = named(problem, cause.task) if cause.task is not None else ""
    match cause.setter:
        case Setter.NOW:
            said = "nothing holds it up"
        case Setter.EARLIEST:
            said = f"it cannot begin before {ready}"
        case Setter.ARRIVAL:
            said = f"{other} is there at {ready}"
        case Setter.HAND:
            said = f"a hand is free there at {ready}, when {other} is done with it"
        case Setter.LOAN:
            said = f"the print arrives at {ready}"
        case Setter.HAND_ON:
            said = f"the work so far lands at {ready}"
        case Setter.CLAIM:
            return f"it is under way there since {ready}"
    waited = piece.start - cause.ready
    return f"{said}, and {piece.site} opens {how_long(waited)} later" if waited > 0 else said
