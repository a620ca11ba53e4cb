"""What the route asks for: which jobs are due, and with which inputs. Pure: a function of the state.

A stage works on reels. Where a stage before it works on the same reel, that reel's outcome is its input; where it does
not (many prints feed one programme), it takes the outcomes of all of that stage's reels, and waits for the last one.
"""

from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import InputsRenewed, JobOpened
from relay.ledger.state import State
from relay.model import ElementKind, Production, ReelName, Stage, VersionName


def reels_of(film: Production, stage: Stage) -> tuple[ReelName, ...]:
    """Return the reels that `stage` works on, in the file's order."""
    if stage.of:
        return stage.of
    if not stage.after:
        made = {e.code for e in film.elements if e.kind is ElementKind.RESTORED_PROGRAMME}
        return tuple(reel for reel in film.reel_names() if reel.partition("/")[0] not in made)
    before = {reel for name in stage.after for reel in reels_of(film, _stage(film, name))}
    return tuple(reel for reel in film.reel_names() if reel in before)


def _stage(film: Production, name: str) -> Stage:
    stage = film.stage(name)
    if stage is None:
        raise KeyError(name)  # the production checks its route when it is made
    return stage


def job_name(stage: str, reel: ReelName, number: int = 1) -> str:
    """Return the name of a job; the route's own job on a reel is number 1, work asked for later counts on."""
    return f"{stage}/{reel}/{number}"


def has_arrived(state: State, version: VersionName) -> bool:
    """Answer whether some site received `version` whole, and said so in its newest receipt."""
    newest = {receipt.site: receipt.whole for receipt in state.versions[version].receipts}
    return any(newest.values())


def outcome_of(state: State, stage: Stage, reel: ReelName) -> VersionName | None:
    """Return what `stage` hands over for `reel`, or None while the next stage has to wait for it."""
    job = state.jobs.get(job_name(stage.name, reel))
    if job is None or job.outcome is None:
        return None
    if job.standing is Standing.ACCEPTED:
        return job.outcome
    opens = stage.next_opens_on == "arrival" and job.standing is Standing.HANDED_IN and has_arrived(state, job.outcome)
    return job.outcome if opens else None


def inputs_due(state: State, stage: Stage, reel: ReelName) -> tuple[VersionName, ...] | None:
    """Return what a job on `reel` at `stage` takes, or None while something is not there yet."""
    film, inputs = state.film(), []
    for name in stage.after:
        before = _stage(film, name)
        theirs = reels_of(film, before)
        for each in (reel,) if reel in theirs else theirs:
            outcome = outcome_of(state, before, each)
            if outcome is None:
                return None
            inputs.append(outcome)
    return tuple(dict.fromkeys(inputs))


def due(state: State) -> list[JobOpened | InputsRenewed]:
    """Return what the route asks to be said now: jobs to open, and open jobs whose inputs were made anew."""
    film = state.film()
    said = (_due(state, stage, reel) for stage in film.route for reel in reels_of(film, stage))
    return [word for word in said if word is not None]


def _due(state: State, stage: Stage, reel: ReelName) -> JobOpened | InputsRenewed | None:
    name = job_name(stage.name, reel)
    job = state.jobs.get(name)
    if job is not None and job.standing is not Standing.OPEN:
        return None
    inputs = inputs_due(state, stage, reel)
    if inputs is None:
        return None
    if job is None:
        return JobOpened(job=name, stage=stage.name, reel=reel, inputs=inputs)
    return InputsRenewed(job=name, inputs=inputs) if inputs != job.inputs else None


def followers(film: Production, stage: str) -> list[Stage]:
    """Return the stages that come right after `stage`."""
    return [each for each in film.route if stage in each.after]


def standing_on(state: State, version: VersionName) -> list[Job]:
    """Return the jobs that took `version`, or took what was made from it, and so on."""
    found: dict[str, Job] = {}
    waiting = [version]
    while waiting:
        taken = waiting.pop()
        for job in state.jobs.values():
            if taken in job.inputs and job.job not in found:
                found[job.job] = job
                waiting += [job.outcome] if job.outcome else []
    return list(found.values())
