"""What a forecast stands on: the ledger's state, the production, the time, and all that is looked up from them once."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from fractions import Fraction
from functools import cached_property
from statistics import median

from relay.forecast.houses import calendars_of
from relay.forecast.lines import Line, Missing, line_of, minutes_for, missing_by_receipts
from relay.forecast.paces import Pace, frames_of, history_of, pace_at
from relay.ledger.state import State
from relay.model import Production, ReelName, Site, Stage
from relay.shifts.calendar import Calendar
from relay.shifts.zones import minute_of

BYTES_A_FRAME = 12_748_800
"""A 2048x1556 10-bit DPX file (SMPTE ST 268, filled, data at 2048): taken where nothing was sent yet."""

AFTER = timedelta(days=120)
"""How far past the premiere a forecast looks: what is not finished by then is no plan."""

WORKER, DESK = "worker", "desk"
"""Places at a site apart from its people: its machine, which never sleeps, and where outcomes are accepted."""


@dataclass(frozen=True)
class Ground:
    """What is true, or is supposed to be, at one instant."""

    state: State
    film: Production
    """As the ledger says, or as somebody supposes it to be."""
    now: datetime
    missing: Missing
    faster: dict[str, Fraction] = field(default_factory=dict)
    """How many times faster than known a site's line is supposed to be."""

    @classmethod
    def of(cls, state: State, now: datetime, missing: Missing | None = None) -> "Ground":
        """Return the ground as the ledger has it."""
        return cls(state, state.film(), now, missing or missing_by_receipts(state))

    @cached_property
    def epoch(self) -> datetime:
        """Minute 0 of the plan: now, on the whole minute."""
        return self.now.replace(second=0, microsecond=0)

    @cached_property
    def horizon(self) -> int:
        """The minute up to which calendars are laid out."""
        return self.minute(max(self.film.premiere.instant(), self.now) + AFTER)

    @cached_property
    def calendars(self) -> dict[str, Calendar]:
        return calendars_of(self.film)

    @cached_property
    def lines(self) -> dict[str, Line]:
        found = {site.name: line_of(self.state, site) for site in self.film.sites}
        return {
            name: Line(line.speed * self.faster[name], f"{line.why}, {float(self.faster[name]):g} times as fast")
            if name in self.faster
            else line
            for name, line in found.items()
        }

    @cached_property
    def _history(self) -> dict[tuple[str, str], list[Fraction]]:
        return history_of(self.state, self.film, self.calendars)

    def minute(self, instant: datetime) -> int:
        """Return the plan's minute of an instant; negative in the past."""
        return minute_of(instant) - minute_of(self.epoch)

    def instant(self, minute: int) -> datetime:
        """Return the UTC instant of a plan's minute."""
        return self.epoch + timedelta(minutes=minute)

    def pace(self, stage: Stage, site: Site) -> Pace:
        """Return how fast a stage goes at a site."""
        return pace_at(self._history, stage, site)

    def size_of(self, stage: Stage, reel: ReelName) -> int:
        """Return how many bytes the outcome of a stage on a reel will have, by what was sent before."""
        return round(frames_of(self.state, self.film, reel)[0] * self._bytes_a_frame(stage.name))

    def _bytes_a_frame(self, stage: str) -> Fraction:
        outcomes = {job.outcome for job in self.state.jobs.values() if job.stage == stage and job.outcome}
        of_stage = [Fraction(v.size, v.files) for v in self.state.versions.values() if v.name in outcomes]
        of_any = [Fraction(v.size, v.files) for v in self.state.versions.values()]
        return median(of_stage or of_any or [Fraction(BYTES_A_FRAME)])

    def carry(self, size: int, source: str, to: str) -> int:
        """Return the minutes that `size` bytes take from one site through the store to another."""
        here, there = place_of(source), place_of(to)
        return 0 if here == there else minutes_for(size, self.lines[here], self.lines[there])

    def bring(self, size: int, to: str) -> int:
        """Return the minutes that `size` bytes take from the store to a site."""
        return minutes_for(size, self.lines[place_of(to)])

    def can_sign(self, site: Site) -> bool:
        """Answer whether a site has joined, or may still: one that was removed may not."""
        was_there = any(signer.name == site.name for signer in self.state.roster.values())
        return self.state.has_joined(site.name) or not was_there

    def able(self, stage: Stage) -> list[Site]:
        """Return the sites that do a stage and can say so, in the file's order."""
        return [site for site in self.film.sites if stage.name in site.stages and self.can_sign(site)]


def place_of(name: str) -> str:
    """Return the site that a place in a plan belongs to: `tokyo` for `tokyo/worker`."""
    return name.partition("/")[0]


def worker_of(site: str) -> str:
    """Return a site's machine as a place in a plan."""
    return f"{site}/{WORKER}"


def desk_of(site: str) -> str:
    """Return where a site accepts work, as a place in a plan."""
    return f"{site}/{DESK}"
