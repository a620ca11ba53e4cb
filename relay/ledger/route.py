"""What the route asks for: which jobs are due, and with which inputs. Pure: a function of the state.

A stage works on reels. Where a stage before it works on the same reel, that reel's outcome is its input; where it does
not (many prints feed one programme), it takes the outcomes of all of that stage's reels, and waits for the last one.

A stage may pass over a reel more than once: the route's own job is pass 1, and what the coordinator or an acceptor asks
for counts on from 2. What comes after takes the outcome of the newest pass, and waits while that is under way. Work
that was withdrawn is not waited for: the route goes on without it.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import count

from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import InputsRenewed, JobOpened
from relay.ledger.state import State
from relay.model import ElementKind, Production, ReelName, Stage, VersionName, code_of

ReelSet = dict[ReelName, None]
"""Reels in the file's order, found at once."""

Handover = tuple[VersionName, ...] | None
"""What a stage hands over for a reel: one version; none, for ever, where the work was withdrawn; None: wait."""

Seen = dict[tuple[str, ReelName, bool], Handover]
"""Hand-overs that were looked up in one state, and whether only what was accepted counts."""


class _Same:
    """A production, the same only as itself: it never changes, and comparing all that it says would cost more."""

    def __init__(self, film: Production) -> None:
        self.film = film

    def __hash__(self) -> int:
        return id(self.film)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.film is other.film


def _plan(film: Production) -> dict[str, ReelSet]:
    """Return the reels that each stage works on."""
    return _laid_out(_Same(film))


@lru_cache(maxsize=16)
def _laid_out(same: _Same) -> dict[str, ReelSet]:
    plan: dict[str, ReelSet] = {}
    for stage in same.film.route:
        _lay_out(same.film, stage, plan)
    return plan


def _lay_out(film: Production, stage: Stage, plan: dict[str, ReelSet]) -> ReelSet:
    if stage.name not in plan:
        before = [_lay_out(film, _stage(film, name), plan) for name in stage.after]
        plan[stage.name] = dict.fromkeys(stage.of or _usual_reels(film, before))
    return plan[stage.name]


def _usual_reels(film: Production, before: list[ReelSet]) -> list[ReelName]:
    if before:
        return [reel for reel in film.reel_names() if any(reel in theirs for theirs in before)]
    made = {element.code for element in film.elements if element.kind is ElementKind.RESTORED_PROGRAMME}
    return [reel for reel in film.reel_names() if code_of(reel) not in made]


def _stage(film: Production, name: str) -> Stage:
    stage = film.stage(name)
    if stage is None:
        raise KeyError(name)  # the production checks its route when it is made
    return stage


@lru_cache(maxsize=16)
def _places(same: _Same) -> dict[ReelName, int]:
    return {reel: place for place, reel in enumerate(same.film.reel_names())}


def has_reel(film: Production, reel: ReelName) -> bool:
    """Answer whether some element of the production has `reel`."""
    return reel in _places(_Same(film))


def place_of(film: Production, reel: ReelName) -> int:
    """Return the place of `reel` among all reels, in the file's order, from 0."""
    return _places(_Same(film))[reel]


def reels_of(film: Production, stage: Stage) -> tuple[ReelName, ...]:
    """Return the reels that `stage` works on, in the file's order; none where the route does not have it."""
    return tuple(_plan(film).get(stage.name, ()))


def job_name(stage: str, reel: ReelName, number: int = 1) -> str:
    """Return the name of a job; the route's own job on a reel is number 1, work asked for later counts on."""
    return f"{stage}/{reel}/{number}"


def stage_to_come(film: Production, job: str) -> str | None:
    """Return the stage at which the route opens a job called `job`, sooner or later; None where it never does."""
    stage, _, rest = job.partition("/")
    reel, _, number = rest.rpartition("/")
    return stage if number == "1" and reel in _plan(film).get(stage, {}) else None


def passes(state: State, stage: str, reel: ReelName) -> Iterator[Job]:
    """Give the jobs of a stage on a reel: the route's own, if it was opened, then those that were asked for."""
    for number in count(1):
        job = state.jobs.get(job_name(stage, reel, number))
        if job is not None:
            yield job
        elif number > 1:
            return


def jobs_on(state: State, reel: ReelName) -> Iterator[Job]:
    """Give the jobs on `reel` at the stages that the route has now."""
    return (job for stage in state.film().route for job in passes(state, stage.name, reel))


def next_pass(state: State, stage: str, reel: ReelName) -> int:
    """Return the number of the next job that can be asked for on `reel` at `stage`."""
    return next(number for number in count(2) if job_name(stage, reel, number) not in state.jobs)


def has_arrived(state: State, version: VersionName) -> bool:
    """Answer whether some site received `version` whole, and said so in its newest receipt.

    The maker's own word counts only until another site has spoken.
    """
    made = state.versions[version]
    newest = {receipt.site: receipt.whole for receipt in made.receipts}
    own = newest.pop(made.by, False)
    return any(newest.values()) if newest else own


def is_received(state: State, stage: Stage, version: VersionName) -> bool:
    """Answer whether `version`, which came of `stage`, arrived whole: where the stage says, or else anywhere."""
    if stage.received_by is None:
        return has_arrived(state, version)
    receipts = [receipt for receipt in state.versions[version].receipts if receipt.site == stage.received_by]
    return bool(receipts) and receipts[-1].whole


def outcome_of(state: State, stage: Stage, reel: ReelName) -> VersionName | None:
    """Return what `stage` hands over for `reel`, or None while the next stage has to wait for it, or go without."""
    handed = _handed_over(state, stage, reel, stage.next_opens_on == "acceptance", {})
    return handed[0] if handed else None


def _handed_over(state: State, stage: Stage, reel: ReelName, is_waiting: bool, seen: Seen) -> Handover:
    """Return what a stage hands over for a reel; `is_waiting`: only what was accepted counts."""
    key = (stage.name, reel, is_waiting)
    if key not in seen:
        seen[key] = _look_up(state, stage, reel, is_waiting, seen)
    return seen[key]


def _look_up(state: State, stage: Stage, reel: ReelName, is_waiting: bool, seen: Seen) -> Handover:
    if job_name(stage.name, reel) not in state.jobs and not _is_cut_off(state, stage, reel, seen):
        return None  # the route's own job is still to come, whatever was asked for ahead of it
    live = [job for job in passes(state, stage.name, reel) if job.standing is not Standing.WITHDRAWN]
    if not live:
        return ()
    return _of_pass(state, stage, max(reversed(live), key=lambda job: job.opened), is_waiting)


def _is_cut_off(state: State, stage: Stage, reel: ReelName, seen: Seen) -> bool:
    """Answer whether all that the stage would work on was withdrawn, so that the route never opens its job."""
    return bool(stage.after) and _inputs(state, stage, reel, seen) == ()


def _of_pass(state: State, stage: Stage, job: Job, is_waiting: bool) -> Handover:
    if job.outcome is None:
        return None
    if job.standing is Standing.ACCEPTED:
        return (job.outcome,)
    arrived = job.standing is Standing.HANDED_IN and is_received(state, stage, job.outcome)
    return (job.outcome,) if arrived and not is_waiting else None


def never_opens(state: State, stage: Stage, reel: ReelName) -> bool:
    """Answer whether all that `stage` would work on was withdrawn, so that its job on `reel` never opens."""
    return _is_cut_off(state, stage, reel, {})


def _due_inputs(state: State, stage: Stage, reel: ReelName, seen: Seen) -> tuple[VersionName, ...] | None:
    inputs = _inputs(state, stage, reel, seen)
    return None if stage.after and not inputs else inputs


def _inputs(state: State, stage: Stage, reel: ReelName, seen: Seen) -> tuple[VersionName, ...] | None:
    film, inputs = state.film(), dict[VersionName, None]()
    plan = _plan(film)
    for name in stage.after:
        before = _stage(film, name)
        for each in (reel,) if reel in plan[name] else plan[name]:
            handed = _handed_over(state, before, each, stage.waits_for_acceptance(before), seen)
            if handed is None:
                return None
            inputs.update(dict.fromkeys(handed))
    return tuple(inputs)


def due(state: State) -> list[JobOpened | InputsRenewed]:
    """Return what the route asks to be said now: jobs to open, and waiting jobs whose inputs were made anew."""
    film, seen = state.film(), Seen()
    plan = _plan(film)
    said = (_due(state, stage, reel, seen) for stage in film.route for reel in plan[stage.name])
    return [word for word in said if word is not None]


def due_at(state: State, stage: str, reel: ReelName) -> JobOpened | InputsRenewed | None:
    """Return what the route asks to be said about one reel at one stage, or None."""
    film = state.film()
    found = film.stage(stage)
    return _due(state, found, reel, {}) if found and reel in _plan(film)[stage] else None


def _due(state: State, stage: Stage, reel: ReelName, seen: Seen) -> JobOpened | InputsRenewed | None:
    name = job_name(stage.name, reel)
    job = state.jobs.get(name)
    if job is not None and job.standing not in {Standing.OPEN, Standing.STOPPED}:
        return None
    inputs = _due_inputs(state, stage, reel, seen)
    if inputs is None:
        return None
    if job is None:
        return JobOpened(job=name, stage=stage.name, reel=reel, inputs=inputs)
    return InputsRenewed(job=name, inputs=inputs) if inputs != job.inputs else None


def jobs_after(film: Production, stage: str, reel: ReelName) -> Iterator[str]:
    """Give the names of the route's own jobs that take what `stage` makes of `reel`."""
    plan = _plan(film)
    for each in followers(film, stage):
        for follower in (reel,) if reel in plan[each.name] else plan[each.name]:
            yield job_name(each.name, follower)


def followers(film: Production, stage: str) -> list[Stage]:
    """Return the stages that come right after `stage`."""
    return [each for each in film.route if stage in each.after]
