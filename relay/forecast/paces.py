"""How fast a stage goes at a site: by the site's own history in the ledger, else by the production's file.

A pace is a range. From history it is the median with the tenth and the ninetieth of a hundred; from a figure that
somebody wrote down, the figure with a fifth less and a half more time around it (common practice: work runs over more
often than it runs short).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from math import ceil
from statistics import median, quantiles

from relay.ledger.job_state import Claim, Job
from relay.ledger.state import State
from relay.model import Production, ReelName, Site, Stage, frame_count
from relay.shifts.calendar import Calendar
from relay.shifts.problem import Work
from relay.shifts.zones import minute_of

ENOUGH = 3
"""Finished jobs of one stage at one site, from which on its own history counts for more than anybody's figure."""

USUAL_RATE = 2000
"""Frames an hour, a 1,000-foot reel of 35 mm in a working day: taken where nobody said."""

USUAL_FRAMES = 16_000
"""1,000 feet of 35 mm, 16 frames a foot (ISO 491): taken for a reel that nobody counted."""

SHORT, LONG = Fraction(4, 5), Fraction(3, 2)


@dataclass(frozen=True)
class Pace:
    """Working minutes a frame: at best, most likely, at worst; and how that is known."""

    low: Fraction
    likely: Fraction
    high: Fraction
    why: str
    is_guess: bool = False

    def work(self, frames: int) -> Work:
        """Return the working minutes for `frames`, at least one."""
        return Work(*(max(1, ceil(frames * each)) for each in (self.low, self.likely, self.high)))


def frames_of(state: State, film: Production, reel: ReelName) -> tuple[int, bool]:
    """Return how many frames a reel has, and whether that is a guess: what the can says, else what was sent of it."""
    element = film.element_of(reel)
    counted = next((each.frames for each in element.reels if reel.endswith(f"/{each.name}")), None) if element else None
    if counted:
        return counted, False
    if versions := state.of_reel(reel):
        return versions[-1].files, False
    known = [each.frames for element in film.elements for each in element.reels if each.frames]
    return (round(median(known)) if known else USUAL_FRAMES), True


def frames_in(state: State, film: Production, job: Job) -> int:
    """Return how many frames a job is about: its ranges, or its whole reel."""
    return frame_count(job.frames) or frames_of(state, film, job.reel)[0]


def pace_at(history: Mapping[tuple[str, str], list[Fraction]], stage: Stage, site: Site) -> Pace:
    """Return the pace of a stage at a site, from the best source that there is."""
    own = history.get((stage.name, site.name), [])
    if len(own) >= ENOUGH:
        return _from(own, f"by {site.name}'s own {len(own)} finished jobs")
    said = site.rates.get(stage.name) or stage.rate
    if said:
        return _figure(Fraction(60, said), f"at {said:,} frames an hour, as the production's file says")
    everywhere = [each for (name, _), found in history.items() if name == stage.name for each in found]
    if len(everywhere) >= ENOUGH:
        return _from(everywhere, f"by the {len(everywhere)} jobs of {stage.name} that were finished anywhere")
    return _figure(Fraction(60, USUAL_RATE), f"at {USUAL_RATE:,} frames an hour, which is a guess", is_guess=True)


def _from(found: list[Fraction], why: str) -> Pace:
    tenths = quantiles(found, n=10, method="inclusive")
    return Pace(tenths[0], median(found), tenths[-1], why)


def _figure(likely: Fraction, why: str, *, is_guess: bool = False) -> Pace:
    return Pace(likely * SHORT, likely, likely * LONG, why, is_guess)


def history_of(
    state: State, film: Production, calendars: Mapping[str, Calendar]
) -> dict[tuple[str, str], list[Fraction]]:
    """Return the working minutes a frame of each finished job, by stage and the site that did it from claim to end."""
    found: dict[tuple[str, str], list[Fraction]] = {}
    for job in state.jobs.values():
        claim = _finishing(job)
        if claim is None or job.outcome is None or claim.site not in calendars:
            continue
        minutes = spent(claim, state.versions[job.outcome].time, calendars)
        if minutes > 0:  # work at night, outside every shift, tells nothing about shifts
            pace = Fraction(minutes, frames_in(state, film, job))
            found.setdefault((job.stage, claim.site), []).append(pace)
    return found


def _finishing(job: Job) -> Claim | None:
    """Return the claim under which one site did a whole job by itself and at one go, or None."""
    if job.hand_ons or job.returns or job.outcome is None or not job.past:
        return None
    return job.past[-1] if job.past[-1].site == job.holder else None


def spent(claim: Claim, until: datetime, calendars: Mapping[str, Calendar]) -> int:
    """Return the minutes of work under a claim until an instant: a machine's are all minutes, people's are shifts."""
    start, end = minute_of(claim.since), minute_of(until)
    if claim.lease is not None:
        return max(0, end - start)
    return max(0, calendars[claim.site].worked(start, end))
