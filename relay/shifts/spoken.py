"""Minutes and tasks as people say them."""

from relay.shifts.problem import Minute, Problem, Task, TaskId


def when(problem: Problem, minute: Minute) -> str:
    """Return an instant such as `2027-03-02 09:00 UTC`."""
    return f"{problem.instant(minute):%Y-%m-%d %H:%M} UTC"


def how_long(minutes: int) -> str:
    """Return a length of time such as `3 h 20 min`, or `5 days 4 h` from two days on."""
    hours, rest = divmod(abs(minutes), 60)
    if hours >= 48:
        return f"{hours // 24} days {hours % 24} h" if hours % 24 else f"{hours // 24} days"
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def name_of(task: Task) -> str:
    """Return what a sentence calls the task."""
    return task.title or task.id


def named(problem: Problem, task: TaskId) -> str:
    """Return what a sentence calls the task of that id."""
    return next((name_of(each) for each in problem.tasks if each.id == task), task)


def listed(words: list[str]) -> str:
    """Return `a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
