"""A reel handed over: its package goes to the store and one entry says so; at the other end, a receipt answers.

Every function here may be run again after any interruption: what was done is found done, and nothing is said twice.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from relay.errors import MissingError, RefusedError
from relay.ledger.job_state import Claim, Job
from relay.ledger.job_words import JobHandedIn, WorkCameLate
from relay.ledger.owed import newest_receipt
from relay.ledger.state import Receipt, State, Version
from relay.ledger.words import FAULTS_IN_ENTRY, ReceiptSigned, VersionMade, Word
from relay.ledger.words import Fault as FaultInEntry
from relay.ledger.work import job_named
from relay.media.gaps import lacking
from relay.media.manifest import Manifest, PackedFile
from relay.media.sequence import picture_of
from relay.model import Digest, ReelName, ScanMap, VersionName, version_name
from relay.transfer.deposit import Deposit, deposit
from relay.transfer.desk import Desk
from relay.transfer.edge_gaps import edge_reader
from relay.transfer.faults import Fault
from relay.transfer.fetch import Fetched, fetch
from relay.transfer.folder import survey
from relay.transfer.progress import UNWATCHED, Onlooker, Watcher
from relay.transfer.quiet import quiet_files
from relay.transfer.treatments import check_treatment

NO_DIGEST = Digest("0" * 64)


@dataclass(frozen=True)
class Sending:
    """What a site wants to hand over."""

    folder: Path
    reel: ReelName
    note: str = ""
    parents: tuple[VersionName, ...] | None = None
    """None: the newest version of the reel, if there is one."""
    scan_map: ScanMap | None = None
    """None: the parent's, or the first frame is the start mark where there is none."""
    rehash: bool = False
    may_grow: bool = False
    """Do not wait to see whether the folder is still being filled."""
    job: str | None = None
    """The job that this hands in. None: just a version."""
    for_next: str = ""
    """What whoever goes on should know, kept with the job."""


@dataclass(frozen=True)
class Looking:
    """Who looks at a package while it is sent."""

    onlooker: Onlooker
    check: Callable[[Manifest, ScanMap | None, tuple[VersionName, ...]], None]
    """Called when all is stored and nothing is said yet, with the manifest, the scan map and the parents; may raise."""


@dataclass(frozen=True)
class Sent:
    """What became of it."""

    version: Version
    is_new: bool
    deposit: Deposit
    job: str | None = None
    """The job that it was handed in for."""
    came_late: bool = False
    """The claim was over by then: the version is kept, and nobody accepted it."""
    lacking: int = 0
    """Frames that the film lacks by its edge code, kept as gaps on the reel."""


@dataclass(frozen=True)
class Received:
    """What arrived."""

    version: Version
    fetched: Fetched
    receipt: Receipt


def send(desk: Desk, sending: Sending, watcher: Watcher = UNWATCHED, looking: Looking | None = None) -> Sent:
    """Store the package in a folder and say that it is the reel's next version.

    Gaps in the edge code become gaps on the reel, unless a map of several segments, or a version that this was made
    from, ties its numbers already.

    Sending the same package again as the newest version says nothing new. Raises RefusedError, BrokenError and
    TransientError as `deposit` and the ledger do.
    """
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    claim = None if sending.job is None else _own_claim(state, sending, desk.site)
    found = survey(sending.folder).files if sending.may_grow else quiet_files(sending.folder, desk.clock, watcher)
    check_treatment(sending.folder, found)
    parents = _parents(state, sending)
    scan_map = _scan_map(desk, state, sending, parents, found)
    edges = edge_reader(desk, state, sending.reel, parents, scan_map, found)
    stored = deposit(
        sending.folder,
        desk.store,
        desk.notebook,
        hands=desk.hands,
        rehash=sending.rehash,
        expected=_expected(desk, state, parents),
        watcher=watcher,
        clock=desk.clock,
        onlooker=_all_of(edges.look if edges else None, looking.onlooker if looking else None),
    )
    if edges and scan_map:
        edges.read_rest(sending.folder)
        scan_map = edges.on_reel(scan_map)
    if looking:
        looking.check(stored.manifest, scan_map, parents)

    def decide(now_state: State, _now: datetime) -> list[Word] | None:
        name = version_name(sending.reel, now_state.newest.get(sending.reel, 0) + 1)
        made = VersionMade(
            version=name,
            manifest=stored.manifest.digest(),
            files=len(stored.manifest.files),
            size=stored.manifest.size(),
            parents=parents,
            scan_map=scan_map,
            note=sending.note,
        )
        if _is_said(now_state, desk.site, sending, claim, made):
            return None
        return [made] if claim is None else [made, _handing_in(now_state, sending, claim, name)]

    entry = desk.ledger.append(desk.pen, decide)
    version = _own_newest(desk.ledger.state, desk.site, sending.reel, stored.manifest)
    desk.arrivals.note(sending.folder, version.name, version.manifest)
    desk.manifests.keep(stored.manifest)
    late = sending.job is not None and version.name in desk.ledger.state.jobs[sending.job].late
    return Sent(version, entry is not None, stored, sending.job, late, lacking(scan_map) if edges and scan_map else 0)


def _all_of(*onlookers: Onlooker | None) -> Onlooker | None:
    looking = [each for each in onlookers if each]

    def look(path: str, body: memoryview) -> None:
        for each in looking:
            each(path, body)

    return look if looking else None


def _own_claim(state: State, sending: Sending, site: str) -> Claim:
    """Return the claim under which this work was done; that it is over by now does not lose the work."""
    job = job_named(state, sending.job or "")
    if job.reel != sending.reel:
        raise RefusedError(f"job {job.job} is about reel {job.reel}, not {sending.reel}: name the reel or the job anew")
    held = [claim for claim in (*job.past, *([job.claim] if job.claim else [])) if claim.site == site]
    if not held:
        raise RefusedError(f"job {job.job} was never {site}'s: claim it first, or send without --job")
    return held[-1]


def _handing_in(state: State, sending: Sending, claim: Claim, version: VersionName) -> Word:
    job = job_named(state, sending.job or "")
    if job.claim is not None and job.claim.epoch == claim.epoch:
        return JobHandedIn(job=job.job, epoch=claim.epoch, version=version, note=sending.for_next)
    return WorkCameLate(job=job.job, epoch=claim.epoch, version=version)


def _own_newest(state: State, site: str, reel: ReelName, manifest: Manifest) -> Version:
    digest = manifest.digest()
    return next(each for each in reversed(state.of_reel(reel)) if (each.by, each.manifest) == (site, digest))


def _parents(state: State, sending: Sending) -> tuple[VersionName, ...]:
    if sending.parents is not None:
        return tuple(state.version(parent).name for parent in sending.parents)
    if sending.job is not None:
        return job_named(state, sending.job).inputs
    newest = state.newest.get(sending.reel)
    return (version_name(sending.reel, newest),) if newest else ()


def _is_said(state: State, site: str, sending: Sending, claim: Claim | None, made: VersionMade) -> bool:
    if claim is not None:
        job = job_named(state, sending.job or "")
        if job.claim is not None and job.claim.epoch == claim.epoch:
            return False  # whatever others made of it meanwhile, the same bytes too: this claim is not answered yet
        done = [state.versions[each] for each in (*_outcomes(job), *job.late)]
        return any((version.by, version.manifest) == (site, made.manifest) for version in done)
    newest = state.newest.get(sending.reel)
    if newest is None:
        return False
    version = state.versions[version_name(sending.reel, newest)]
    # The same files with another start mark, or made from something else, are something new to say.
    is_same = (version.by, version.manifest, version.scan_map) == (site, made.manifest, made.scan_map)
    return is_same and (sending.parents is None or version.parents == made.parents)


def _outcomes(job: Job) -> tuple[VersionName, ...]:
    return (job.outcome,) if job.outcome else ()


def _expected(desk: Desk, state: State, parents: tuple[VersionName, ...]) -> set[Digest]:
    """Return the objects that other sites say are in the store already: they are read, not sent."""
    others = [state.versions[parent] for parent in parents if state.versions[parent].by != desk.site]
    return {digest for version in others for digest in desk.manifests.read(version.manifest).objects()}


def _scan_map(
    desk: Desk, state: State, sending: Sending, parents: tuple[VersionName, ...], found: Collection[str]
) -> ScanMap | None:
    """Return what ties the files' numbers to the reel's frames: what was said, the parent's map, or the first frame.

    Asked before anything is sent. Raises RefusedError where the numbers have nothing to do with the parent's: then only
    a person knows which file shows the start mark.
    """
    parent = next((each for each in parents if state.versions[each].scan_map), None)
    before = desk.manifests.read(state.versions[parent].manifest) if parent and not sending.scan_map else None
    if parent and before and before.by_path.keys() == set(found):
        return state.versions[parent].scan_map  # the same names: thousands of them need no second look
    try:
        preview = Manifest.of(PackedFile(path, 0, NO_DIGEST) for path in found)
    except ValueError:
        return None  # no package at all: the deposit says what is wrong with it
    if sending.scan_map:
        _check_has_frames(sending.folder, preview)
        return sending.scan_map
    numbers = _numbers(preview)
    if not numbers:
        return None
    if parent is None or before is None:
        return ScanMap.start_mark(min(numbers))
    known = _numbers(before)
    if numbers & known:
        return state.versions[parent].scan_map
    raise RefusedError(
        f"the files are numbered {min(numbers)} to {max(numbers)}, those of {parent} {_span(known)}: say which "
        "file shows the start mark, with --start-mark NUMBER, or NUMBER=FRAME for another frame of the reel"
    )


def _check_has_frames(folder: Path, package: Manifest) -> None:
    if picture_of(package) is None:  # which itself refuses several runs of frames
        raise RefusedError(
            f"a start mark or scan map was given, but {folder} holds no numbered frames that it could tie to the reel: "
            "expected names like A_R03.0086400.dpx (or exr, tif, png). Leave it out, or look at the names"
        )


def _span(numbers: set[int]) -> str:
    return f"{min(numbers)} to {max(numbers)}" if numbers else "are not numbered"


def _numbers(manifest: Manifest) -> set[int]:
    try:
        picture = picture_of(manifest)
    except RefusedError:
        return set()  # several runs of frames: inspection tells, and frame arithmetic refuses
    return set(picture.numbers()) if picture else set()


def receive(
    desk: Desk, version_or_reel: str, target: Path, watcher: Watcher = UNWATCHED, onlooker: Onlooker | None = None
) -> Received:
    """Fetch a version into `target`, verified, and sign a receipt for it: whole, or what was wrong."""
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    version = state.version(version_or_reel)
    check_held(version)
    manifest = desk.manifests.read(version.manifest)
    earlier = {arrival.folder: desk.manifests.read(arrival.manifest) for arrival in desk.arrivals.near(version.name)}
    began = desk.clock.ticks()
    fetched = fetch(
        manifest,
        desk.store,
        target,
        desk.notebook,
        hands=desk.hands,
        earlier=earlier,
        watcher=watcher,
        clock=desk.clock,
        onlooker=onlooker,
    )
    took = max(1, round((desk.clock.ticks() - began) * 1000))
    if fetched.whole:
        desk.arrivals.note(target, version.name, version.manifest)
    carried = (fetched.fetched_bytes, took) if fetched.fetched_bytes else None
    return Received(version, fetched, sign_receipt(desk, version, fetched.faults, carried))


def check_held(version: Version) -> None:
    """Raise MissingError where the bucket need not hold `version` any more."""
    if version.retired is not None:
        raise MissingError(
            f"{version.name} was retired from the bucket by entry {version.retired}, after the production was closed: "
            "whoever keeps the closing export, or a copy of their own, has what was kept of it"
        )


def sign_receipt(
    desk: Desk, version: Version, faults: tuple[Fault, ...], carried: tuple[int, int] | None = None
) -> Receipt:
    """Say how `version` arrived, unless this site's newest receipt for it says exactly that already.

    `carried`: bytes that came over the line, and the milliseconds that they took.
    """
    word = ReceiptSigned(
        version=version.name,
        manifest=version.manifest,
        whole=not faults,
        faults=tuple(in_entry(fault) for fault in faults[:FAULTS_IN_ENTRY]),
        faults_in_all=len(faults),
        carried=carried[0] if carried else None,
        took=carried[1] if carried else None,
    )

    def decide(state: State, _now: datetime) -> list[Word] | None:
        last = newest_receipt(state.versions[version.name], desk.site)
        said = last is not None and (last.whole, last.faults) == (word.whole, word.faults)
        return None if said else [word]

    desk.ledger.append(desk.pen, decide)
    receipt = newest_receipt(desk.ledger.state.versions[version.name], desk.site)
    if receipt is None:
        raise RefusedError(f"no receipt for {version.name} could be signed")
    return receipt


def in_entry(fault: Fault) -> FaultInEntry:
    """Return a fault as receipts and checks say it."""
    return FaultInEntry(
        path=fault.path,
        what=fault.what.value,
        where=fault.where.value,
        expected=fault.expected,
        found=fault.found,
        detail=fault.detail[:400],
    )
