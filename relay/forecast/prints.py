"""When each print on loan is needed for the last time, and how long before it must leave that is. Pure."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from relay.forecast.outlook import Forecast, reel_of_task
from relay.model import Element, code_of
from relay.shifts.zones import minute_of, minute_shown, zone_named


@dataclass(frozen=True)
class PrintOutlook:
    """One print on loan."""

    element: str
    holder: str
    lent_to: str | None
    """Where it lies, or goes; None: nobody said."""
    last_needed: datetime | None
    """When the last work on it is finished; None: nothing is left to do on it."""
    last_day: date
    """The last day on which it may be sent back, by the calendar of the site that has it."""
    leaves: datetime
    """The end of that day."""

    @property
    def spare(self) -> int | None:
        """Minutes between its last use and its leaving; negative: it would have to stay longer than lent."""
        return None if self.last_needed is None else minute_of(self.leaves) - minute_of(self.last_needed)


def prints_of(found: Forecast) -> tuple[PrintOutlook, ...]:
    """Return every print on loan, the one with the least time to spare first, those not needed any more last."""
    prints = [_print(found, element) for element in found.ground.film.elements if element.loan]
    return tuple(sorted(prints, key=lambda each: (each.spare is None, each.spare or 0, each.element)))


def _print(found: Forecast, element: Element) -> PrintOutlook:
    film, loan = found.ground.film, element.loan
    if loan is None:
        raise ValueError(f"element {element.code} is not lent by anybody")
    first = {stage.name for stage in film.route if not stage.after}
    finishes = [
        outlook.finish
        for task, outlook in found.plan.outlooks.items()
        if found.tasks[task].stage in first and code_of(reel_of_task(task)) == element.code
    ]
    site = film.site(loan.lent_to or film.coordinator)
    last_day = loan.due_back - timedelta(days=loan.shipping_days)
    midnight = datetime.combine(last_day + timedelta(days=1), time())
    leaves = minute_shown(midnight, zone_named(site.zone if site else "UTC")) - minute_of(found.ground.epoch)
    at = found.ground.instant
    last_needed = at(max(finishes)) if finishes else None
    return PrintOutlook(element.code, element.holder, loan.lent_to, last_needed, last_day, at(leaves))
