"""The tasks: each rings, and that is all. What it means to be rung is in `workers.lanes`, which knows no Celery."""

from collections.abc import Callable

from celery import Celery

from workers.message import Kind

Hear = Callable[[Kind, tuple[object, ...]], None]


def add_tasks(app: Celery, hear: Hear) -> None:
    """Let `app` answer to every kind of message by calling `hear` with what the message brought."""

    @app.task(shared=False, name=Kind.WAKE.task)  # type: ignore[untyped-decorator]
    def wake(*told: object, **named: object) -> None:
        hear(Kind.WAKE, (*told, *named.values()))

    @app.task(shared=False, name=Kind.ARRIVE.task)  # type: ignore[untyped-decorator]
    def arrive(*told: object, **named: object) -> None:
        hear(Kind.ARRIVE, (*told, *named.values()))

    @app.task(shared=False, name=Kind.VERIFY.task)  # type: ignore[untyped-decorator]
    def verify(*told: object, **named: object) -> None:
        hear(Kind.VERIFY, (*told, *named.values()))

    @app.task(shared=False, name=Kind.FIXITY.task)  # type: ignore[untyped-decorator]
    def fixity(*told: object, **named: object) -> None:
        hear(Kind.FIXITY, (*told, *named.values()))

    @app.task(shared=False, name=Kind.SWEEP.task)  # type: ignore[untyped-decorator]
    def sweep(*told: object, **named: object) -> None:
        hear(Kind.SWEEP, (*told, *named.values()))

    @app.task(shared=False, name=Kind.PULSE.task)  # type: ignore[untyped-decorator]
    def pulse(*told: object, **named: object) -> None:
        hear(Kind.PULSE, (*told, *named.values()))
