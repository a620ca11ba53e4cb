"""The life of a job, as far as the ledger decides it. Pure.

The number of the entry that made a claim is the claim's epoch; a word that carries another epoch than the present
claim's comes from a former holder and never counts.
"""

from dataclasses import replace

from relay.errors import RefusedError
from relay.ledger.state import Claim, Job, State
from relay.ledger.words import ClaimLapsed, JobClaimed, JobHandedIn, JobOpened
from relay.model import reel_of


def _job(state: State, name: str) -> Job:
    job = state.jobs.get(name)
    if job is None:
        raise RefusedError(f"there is no job {name}")
    return job


def opened(state: State, word: JobOpened, entry: int) -> None:
    """Put a job on the list."""
    if word.job in state.jobs:
        raise RefusedError(f"job {word.job} is open already")
    if word.reel not in state.film().reel_names():
        raise RefusedError(f"job {word.job} is about reel {word.reel}, which the production does not have")
    for version in word.inputs:
        if version not in state.versions:
            raise RefusedError(f"job {word.job} takes {version}, which does not exist")
    state.jobs[word.job] = Job(word.job, word.stage, word.reel, word.inputs, entry)


def claimed(state: State, word: JobClaimed, site: str, entry: int) -> None:
    """Give a free job to the site that asked first."""
    job = _job(state, word.job)
    if job.outcome is not None:
        raise RefusedError(f"job {word.job} is handed in already")
    if job.claim is not None:
        raise RefusedError(f"job {word.job} is {job.claim.site}'s since entry {job.claim.epoch}")
    state.jobs[word.job] = replace(job, claim=Claim(site, entry, word.lease))


def _check_epoch(job: Job, epoch: int) -> Claim:
    if job.claim is None or job.claim.epoch != epoch:
        held = "nobody's" if job.claim is None else f"{job.claim.site}'s since entry {job.claim.epoch}"
        raise RefusedError(f"the claim of entry {epoch} on job {job.job} is over: the job is {held}")
    return job.claim


def lapsed(state: State, word: ClaimLapsed) -> None:
    """Free a job whose machine gave no sign of life."""
    job = _job(state, word.job)
    _check_epoch(job, word.epoch)
    state.jobs[word.job] = replace(job, claim=None)


def handed_in(state: State, word: JobHandedIn, site: str, entry: int) -> None:
    """Record the outcome, if the signer still holds the claim and made the version in this very entry."""
    job = _job(state, word.job)
    claim = _check_epoch(job, word.epoch)
    if claim.site != site:
        raise RefusedError(f"job {word.job} is {claim.site}'s: {site} cannot hand it in")
    made = state.versions.get(word.version)
    if made is None or made.entry != entry:
        raise RefusedError(f"job {word.job} is handed in with {word.version}, which this entry does not make")
    if reel_of(word.version) != job.reel:
        raise RefusedError(f"job {word.job} is about reel {job.reel}: {word.version} is no version of it")
    state.jobs[word.job] = replace(job, claim=None, outcome=word.version)
