"""Plans in the background: the coordinator's worker asks sites for open jobs; each site's tells when work goes on.

Nothing here moves work. The coordinator says in the ledger who is asked first, which wakes that site; and who is
expected to go on with what is under way, so that this site receives it, and is woken when it is handed in. Shortly
before a house closes, its people are told to whom the plan hands on what they hold, and that site is woken.
"""

import logging
from datetime import datetime

from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, forecast
from relay.forecast.patience import EXACT, patience
from relay.forecast.steering import (
    Evening,
    closes_soon,
    evenings,
    held_by,
    is_open_to_plans,
    is_under_way,
    to_ask,
    to_expect,
)
from relay.ledger.job_state import Expected, Job
from relay.ledger.job_words import SiteAsked, SiteExpected
from relay.ledger.notices import Notice
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.transfer.desk import Desk
from relay.transfer.lacking import Lacking
from workers.plans import Plans
from workers.room import Room

LOG = logging.getLogger("relay.workers")

SECONDS = 1.0
"""How long a better plan is looked for."""


class Planning:
    """What one site plans."""

    def __init__(self, desk: Desk, room: Room) -> None:
        self._desk = desk
        self._room = room
        self._plans: Plans = room.plans

    def is_due(self, state: State) -> bool:
        """Answer whether a plan is wanted: a job waits to be asked for, or this house is about to close."""
        film, now = state.film(), self._desk.now()
        if not film.keeps_hours or now >= film.premiere.instant():
            return False
        if self._is_news(state):
            return True
        return self._closing(Ground.of(state, now)) is not None

    def _is_news(self, state: State) -> bool:
        is_mine = state.film().coordinator == self._desk.site
        is_new = state.sequence != self._plans.sequence and self._room.clock.ticks() >= self._plans.next_at
        jobs = state.jobs.values()
        return is_mine and is_new and any(is_open_to_plans(job) or is_under_way(state, job) for job in jobs)

    def _closing(self, ground: Ground) -> datetime | None:
        if not held_by(ground, self._desk.site):
            return None
        closes = closes_soon(ground, self._desk.site)
        return None if closes == self._plans.evening else closes

    def plan(self) -> bool:
        """Plan, and say or tell what comes of it. Answers whether anything was said. Raises RefusedError."""
        state = self._desk.ledger.follow()
        ground = Ground.of(state, self._desk.now(), Lacking(self._desk.manifests, state))
        closing = self._closing(ground)
        self._plans.next_at = self._room.clock.ticks() + self._room.every
        found = forecast(ground, patience(self._room.clock, SECONDS), exact_seconds=EXACT * SECONDS)
        said = self._ask(found)
        self._plans.sequence = self._desk.ledger.state.sequence
        if closing is not None:
            self._tell(evenings(found, self._desk.site, closing), closing)
        return said

    def _ask(self, found: Forecast) -> bool:
        if found.ground.film.coordinator != self._desk.site:
            return False
        words: list[SiteAsked | SiteExpected] = [*to_ask(found), *to_expect(found)]
        before = {word.job: _known(found.ground.state, word) for word in words}

        def decide(state: State, _now: object) -> list[Word] | None:
            return [word for word in words if _known(state, word) == before[word.job]] or None

        entry = self._desk.ledger.append(self._desk.pen, decide)
        if entry is not None:
            told = ", ".join(f"{word.job}: {word.to}" for word in words)
            LOG.info("%s asks first or expects, as planned: %s", self._desk.site, told)
        return entry is not None

    def _tell(self, found: list[Evening], closing: datetime) -> None:
        self._plans.evening = closing
        self._plans.notices = tuple(_notice(each) for each in found)
        for each in found:
            LOG.info("%s closes %s: %s goes on to %s, as planned", self._desk.site, closing, each.job, each.to)
            self._room.bell.ring({self._desk.site, each.to}, (), each.job)


def _known(state: State, word: SiteAsked | SiteExpected) -> tuple[Job | None, Expected | None]:
    """Return what is known of a job; nothing is said where that changed while the plan was made."""
    return state.jobs.get(word.job), state.expected.get(word.job)


def _notice(evening: Evening) -> Notice:
    return Notice(
        f"day ends {evening.job} {evening.closes:%Y-%m-%dT%H:%M}",
        "day ends",
        f"You close at {evening.closes:%H:%M} UTC, and {evening.job} goes on soonest at {evening.to}: `relay hand-on "
        f"{evening.job} --to {evening.to} --done ... --left ...`, or keep it",
    )
