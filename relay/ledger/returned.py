"""What stands on work that was returned, or withdrawn after it was handed in: marked, never undone. Pure.

A version that came back is never handed in again, so a mark ends only where a job is given other inputs.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from relay.ledger import route
from relay.ledger.job_state import Job, Standing
from relay.ledger.state import State
from relay.model import VersionName, reel_of


def shake(state: State, version: VersionName) -> None:
    """Mark every job that stands on `version`, which came back: that happens once, a version is handed in once."""
    for job in standing_on(state, version):
        if job.standing is not Standing.WITHDRAWN:
            state.jobs[job.job] = replace(job, stands_on_returned=(*job.stands_on_returned, version))


def standing_on(state: State, version: VersionName) -> list[Job]:
    """Return the jobs that took `version`, or took what was made from it, and so on."""
    takers: dict[VersionName, list[Job]] = defaultdict(list)
    for job in state.jobs.values():
        for taken in job.inputs:
            takers[taken].append(job)
    found: dict[str, Job] = {}
    waiting = [version]
    while waiting:
        for job in takers.pop(waiting.pop(), []):
            found[job.job] = job
            waiting += _made_now(job)
    return list(found.values())


def made_by(job: Job) -> list[VersionName]:
    """Return every version that was sent for `job`: its outcome, and what was returned or came late."""
    return [*_made_now(job), *(back.version for back in job.returns)]


def _made_now(job: Job) -> list[VersionName]:
    """Leave out what came back: that marks what stands on it already, and may be of other inputs than the job's now."""
    return [job.outcome, *job.late] if job.outcome else list(job.late)


def marks(state: State, inputs: Iterable[VersionName]) -> tuple[VersionName, ...]:
    """Return the versions that came back among `inputs` and among all that they stand on."""
    found: dict[VersionName, None] = {}
    for version in inputs:
        job = _maker(state, version)
        if job is not None:
            found.update(dict.fromkeys([version] if _came_back(job, version) else job.stands_on_returned))
    return tuple(found)


def _came_back(job: Job, version: VersionName) -> bool:
    is_withdrawn = job.standing is Standing.WITHDRAWN and job.outcome == version
    return is_withdrawn or any(back.version == version for back in job.returns)


def _maker(state: State, version: VersionName) -> Job | None:
    """Return the job that `version` was sent for: on the same reel, at a stage of the route, or at one that was."""
    for jobs in (route.jobs_on(state, reel_of(version)), state.jobs.values()):
        for job in jobs:
            if version in made_by(job):
                return job
    return None
