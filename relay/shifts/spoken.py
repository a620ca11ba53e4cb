"""Minutes and tasks as people say them."""

from relay.shifts.problem import Minute, Problem, Task, TaskId


def when(problem: Problem, minute: Minute) -> str:
    """Return an instant such as `2027-03-02 09:00 UTC`."""
    return f"{problem.instant(minute):%Y-%m-%d %H:%M} UTC"


def how_long(minutes: int) -> str:
    """Return a length of time in its two largest units: `3 days 4 h`, `4 h 20 min`."""
    days, rest = divmod(abs(minutes), 24 * 60)
    hours, left = divmod(rest, 60)
    said = [f"{days} day{'' if days == 1 else 's'}"] if days else []
    said += [f"{hours} h"] if hours else []
    said += [f"{left} min"] if left and not days else []
    return " ".join(said) or "0 min"


def name_of(task: Task) -> str:
    """Return what a sentence calls the task."""
    return task.title or task.id


def named(problem: Problem, task: TaskId) -> str:
    """Return what a sentence calls the task of that id."""
    return next((name_of(each) for each in problem.tasks if each.id == task), task)


def listed(words: list[str]) -> str:
    """Return `a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
