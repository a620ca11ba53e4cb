"""What a site owes, read from the ledger alone: what it must receive, mend, do. Pure: a function of the state.

A message only says "go and look"; this is where one looks.
"""

from collections.abc import Iterator
from datetime import UTC, datetime

from relay.ledger import route
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Expected, Job, Standing
from relay.ledger.state import CopyCheck, Receipt, State, Version
from relay.ledger.words import Fault
from relay.model import VersionName


def receiver_of(state: State, job: Job) -> str:
    """Return the site that receives and verifies the outcome of `job`.

    The one that its stage names; else the one that the coordinator expects to go on with it; else one that does a
    following stage, spread by reel: another than the maker, if that can be. Every reader finds the same. The
    coordinator, where nothing follows, or who is named has not joined.
    """
    film = state.film()
    named = stage_of(state, job).received_by
    if named is not None:
        return named if state.has_joined(named) else film.coordinator
    able = [site.name for stage in route.followers(film, job.stage) for site in film.sites if stage.name in site.stages]
    joined = [name for name in dict.fromkeys(able) if state.has_joined(name)]
    others = [name for name in joined if name != job.holder] or joined or [film.coordinator]
    goes_on = _expected_after(state, job, others)
    return goes_on or others[route.place_of(film, job.reel) % len(others)]


def _expected_after(state: State, job: Job, others: list[str]) -> str | None:
    """Return who is expected to go on first with what `job` makes, as the ledger says; None where it does not say."""
    if not state.expected:
        return None
    names = route.jobs_after(state.film(), job.stage, job.reel)
    found = [each for each in map(state.expected.get, names) if each and each.site in others]
    return min(found, key=_precedence).site if found else None


def _precedence(expected: Expected) -> tuple[bool, datetime, int]:
    """What a person said, without a time, comes first; of what plans said, what begins first."""
    return (expected.begins is not None, expected.begins or datetime.min.replace(tzinfo=UTC), expected.entry)


def first_asked(state: State, job: Job) -> str | None:
    """Return the site that an open job is prepared for: the one it prefers, or one that does its stage."""
    film = state.film()
    able = [site.name for site in film.sites if job.stage in site.stages and state.has_joined(site.name)]
    if job.prefers in able:
        return job.prefers
    return able[route.place_of(film, job.reel) % len(able)] if able else None


def newest_receipt(version: Version, site: str) -> Receipt | None:
    """Return the newest receipt that `site` signed for `version`."""
    return next((receipt for receipt in reversed(version.receipts) if receipt.site == site), None)


def meant_for(state: State, site: str) -> list[VersionName]:
    """Return the versions that `site` should have, whole and verified: for work it holds or is first asked for."""
    meant = dict.fromkeys(version for job in state.jobs.values() for version in _meant(state, job, site))
    return [version for version in meant if state.versions[version].retired is None]


def _meant(state: State, job: Job, site: str) -> Iterator[VersionName]:
    if job.inputs and (
        (job.claim and job.claim.site == site) or (job.standing is Standing.OPEN and first_asked(state, job) == site)
    ):
        yield from job.inputs
    if job.offer and job.offer.to == site:
        yield from job.inputs
        if job.offer.version:
            yield job.offer.version
    if job.claim and job.claim.site == site and job.hand_ons and job.hand_ons[-1].version:
        yield job.hand_ons[-1].version
    if job.standing is Standing.HANDED_IN and job.outcome and receiver_of(state, job) == site:
        yield job.outcome


def to_receive(state: State, site: str) -> list[VersionName]:
    """Return the versions that `site` should fetch and sign a receipt for now.

    What it refused is fetched again once something of it was mended; at once, where it was only damaged on its way.
    """
    return [name for name in meant_for(state, site) if _is_wanted(state, state.versions[name], site)]


def _is_wanted(state: State, version: Version, site: str) -> bool:
    receipt = newest_receipt(version, site)
    if receipt is None:
        return version.by != site or not route.has_arrived(state, version.name)
    mended = not receipt.whole and mended_since(state, version.name, receipt.entry)
    return mended or was_damaged_on_arrival(state, version.name, site)


def was_damaged_on_arrival(state: State, version: VersionName, site: str) -> bool:
    """Answer whether all that `site` last found wrong with `version` happened on its way or here, not in the bucket."""
    receipt = newest_receipt(state.versions[version], site)
    return receipt is not None and not receipt.whole and all(fault.where == "arrival" for fault in receipt.faults)


def mended_since(state: State, version: VersionName, entry: int) -> bool:
    """Answer whether something was mended with the copy of `version` after `entry`."""
    return any(mending.version == version and mending.entry > entry for mending in state.mendings)


def to_inspect(state: State, site: str) -> list[VersionName]:
    """Return the versions whose pictures `site` should look at: handed in, received here whole, not looked at yet."""
    return [
        job.outcome
        for job in state.jobs.values()
        if job.outcome
        and inspected_job(state, job.outcome, site) is job
        and (receipt := newest_receipt(state.versions[job.outcome], site)) is not None
        and receipt.whole
    ]


def to_say_unseen(state: State, site: str) -> list[VersionName]:
    """Return which of them `site` did not yet give a reason for, if it cannot look."""
    return [
        version
        for version in to_inspect(state, site)
        if all(unseen.site != site for unseen in state.versions[version].unseen)
    ]


def inspected_job(state: State, version: VersionName, site: str) -> Job | None:
    """Return the job that `version` was handed in for, where `site` receives it and its stage wants it looked at."""
    job = next((each for each in state.jobs.values() if each.outcome == version), None)
    if job is None or job.standing is not Standing.HANDED_IN or state.versions[version].inspections:
        return None
    asks = any(step.name == job.stage and step.inspected for step in state.film().route)
    return job if asks and receiver_of(state, job) == site else None


def to_conform(state: State, site: str) -> list[VersionName]:
    """Return the versions that `site` should hold against their cut list: handed in and received here whole.

    Where they are to be looked at as well, after that, since a look leaves the thumbnails that are compared.
    """
    asking = {step.name: step.inspected for step in state.film().route if step.conformed}
    return [
        job.outcome
        for job in state.jobs.values()
        if job.outcome
        and job.stage in asking
        and job.standing is Standing.HANDED_IN
        and receiver_of(state, job) == site
        and _may_conform(state.versions[job.outcome], site, is_looked_at=asking[job.stage])
    ]


def _may_conform(version: Version, site: str, *, is_looked_at: bool) -> bool:
    receipt = newest_receipt(version, site)
    waits = is_looked_at and not version.inspections and not version.unseen
    return receipt is not None and receipt.whole and not version.conforms and not waits


def to_mend(state: State, site: str) -> list[VersionName]:
    """Return the versions that somebody found bad in the bucket and nobody mended since, if `site` may mend."""
    worker = state.film().site(site)
    if worker is None or not (worker.mends or site == state.film().coordinator):
        return []
    return [version.name for version in state.versions.values() if version.retired is None and _is_bad(state, version)]


def _is_bad(state: State, version: Version) -> bool:
    return any(not mended_since(state, version.name, entry) for entry, faults in findings(version) if faults)


def findings(version: Version) -> list[tuple[int, tuple[Fault, ...]]]:
    """Return what each site last found wrong with `version` in the bucket, and in which entry it said so."""
    newest: dict[str, Receipt | CopyCheck] = {receipt.site: receipt for receipt in version.receipts}
    newest |= {f"{check.site}, checking": check for check in version.checks if check.place == "bucket"}
    return [(each.entry, tuple(f for f in each.faults if f.where == "bucket")) for each in newest.values()]


def automatic(state: State, site: str) -> list[Job]:
    """Return the open jobs that a worker at `site` can do by itself, those that prefer another site last."""
    film = state.film()
    worker = film.site(site)
    able = {stage.name for stage in film.route if stage.is_automatic and worker and stage.name in worker.stages}
    jobs = [job for job in state.jobs.values() if job.standing is Standing.OPEN and job.stage in able]
    return sorted(jobs, key=lambda job: (job.prefers not in {None, site}, job.opened))


def machine_claims(state: State) -> list[Job]:
    """Return the jobs that machines hold: each must show a sign of life within its lease."""
    return [job for job in state.jobs.values() if job.claim is not None and job.claim.lease is not None]
