"""`relay who` and `relay forecast`. What they need is loaded when they are asked: nothing else waits for a planner."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson
from relay.forecast.forms import FORMS


def who(context: typer.Context, as_json: AsJson = False) -> None:
    """Say who is awake, until when, and what they hold.

    With what is on its way to whom and when it lands, and the next 24 hours of every site.
    """
    from relay.cli.who import answer_who

    answer_who(context.obj, as_json=as_json)


def show_forecast(
    context: typer.Context,
    what_if: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            help="Suppose this, and show it beside today: " + "; ".join(FORMS) + "; or a production's TOML file. "
            "May be given more than once.",
            show_default=False,
        ),
    ] = None,
    why: Annotated[
        str | None, typer.Option(metavar="JOB", help="Why is this job done there, and then? Such as scan/A/R03.")
    ] = None,
    calendars: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write an iCalendar file for each site: shifts, arrivals, hand-overs."),
    ] = None,
    seconds: Annotated[
        float, typer.Option(metavar="SECONDS", min=0, max=3600, help="How long better plans are looked for.")
    ] = 1.0,
    as_json: AsJson = False,
) -> None:
    """Say when each reel is finished, and what sets that.

    As a range, with what may slip, what lands just after closing time, and what was taken for granted.
    """
    from relay.cli.forecast import answer_forecast

    answer_forecast(context.obj, what_if=what_if or [], why=why, calendars=calendars, seconds=seconds, as_json=as_json)
