"""What the ledger means at one point: the records that the rules build. Values only; reads nothing.

Records are frozen and replaced, never changed, so that a draft over the state can be thrown away.
"""

import json
from collections import ChainMap
from collections.abc import MutableMapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from functools import cache
from typing import Self

from pydantic import TypeAdapter

from relay.errors import MissingError, RefusedError
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.decision_state import Closing, Comparison, Decision, Judgement
from relay.ledger.entry import NO_ENTRY
from relay.ledger.job_state import Expected, Job
from relay.ledger.keys import KeyId, PublicKey
from relay.ledger.pin_words import Pin
from relay.ledger.words import Fault
from relay.model import (
    Digest,
    FrameRange,
    Production,
    ReelName,
    ScanMap,
    VersionName,
    parse_reel,
    parse_version,
    reel_of,
    version_name,
)

ROOT = "root"
"""The name that the production's root key signs with."""


class Role(StrEnum):
    """What a key may sign."""

    ROOT = "root"
    COORDINATOR = "coordinator"
    SITE = "site"
    INVITATION = "invitation"


@dataclass(frozen=True)
class Signer:
    """A key on the roster."""

    name: str
    role: Role
    public: PublicKey
    since: int
    """The entry that put it on the roster."""
    until: int | None = None
    """The entry that took it off, or None while it counts."""


@dataclass(frozen=True)
class Receipt:
    """What a site found when a version arrived."""

    site: str
    entry: int
    time: datetime
    whole: bool
    faults: tuple[Fault, ...]
    faults_in_all: int
    carried: int | None = None
    """Bytes that came over the line for it."""
    took: int | None = None
    """Milliseconds in which they came."""


@dataclass(frozen=True)
class Inspected:
    """What a site found when it looked at a version's pictures and sound."""

    site: str
    entry: int
    time: datetime
    report: Digest
    blocking: int
    warning: int
    sheet: Digest | None = None
    strip: Digest | None = None
    thumbnails: Digest | None = None


@dataclass(frozen=True)
class Conformed:
    """How a site found a version to lie to a cut list."""

    site: str
    entry: int
    time: datetime
    cut_list: Digest
    report: Digest
    blocking: int
    warning: int


@dataclass(frozen=True)
class Alignment:
    """How a site found two prints to lie to each other."""

    one: VersionName
    other: VersionName
    site: str
    entry: int
    time: datetime
    frame_map: Digest
    matched: int
    sure: int
    frames: int
    pins: tuple[int, ...] = ()
    """The entries of the pins that it keeps to."""


@dataclass(frozen=True)
class Unseen:
    """Why the site that received a version did not look at it."""

    site: str
    entry: int
    time: datetime
    why: str


@dataclass(frozen=True)
class CopyCheck:
    """What was last found of one copy of a version."""

    site: str
    """Who looked; for a copy at a site, whose it is."""
    place: str
    label: str
    outcome: str
    entry: int
    time: datetime
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Version:
    """One numbered state of a reel."""

    name: VersionName
    manifest: Digest
    files: int
    size: int
    parents: tuple[VersionName, ...]
    scan_map: ScanMap | None
    note: str
    by: str
    entry: int
    time: datetime
    receipts: tuple[Receipt, ...] = ()
    inspections: tuple[Inspected, ...] = ()
    conforms: tuple[Conformed, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    checks: tuple[CopyCheck, ...] = ()
    """The newest of each copy."""
    retired: int | None = None
    """The entry that says that the bucket need not hold it any more."""


@dataclass(frozen=True)
class Mending:
    """A repair of one object."""

    object: Digest
    found: Digest | None
    version: VersionName
    by: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class KeptFolder:
    """A folder that lies in a site's `to-send/` and was not sent."""

    site: str
    folder: str
    why: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class Material:
    """A still or a paper, and what it is about."""

    about: str
    frames: tuple[FrameRange, ...]
    name: str
    object: Digest
    size: int
    note: str
    by: str
    entry: int
    time: datetime


@dataclass(frozen=True)
class AskedComparison:
    """A comparison copy that somebody asked for."""

    word: ComparisonAsked
    by: str
    entry: int
    time: datetime
    answer: ComparisonMade | ComparisonNotMade | None = None


@dataclass
class State:
    """Everything the ledger says up to and with entry `sequence`; -1 before the first."""

    sequence: int = -1
    digest: Digest = NO_ENTRY
    root: KeyId | None = None
    production: Production | None = None
    roster: MutableMapping[KeyId, Signer] = field(default_factory=dict)
    versions: MutableMapping[VersionName, Version] = field(default_factory=dict)
    newest: MutableMapping[ReelName, int] = field(default_factory=dict)
    """The number of each reel's newest version; a reel that was never sent is not there."""
    mendings: tuple[Mending, ...] = ()
    material: tuple[Material, ...] = ()
    """Stills and papers, oldest first."""
    alignments: tuple[Alignment, ...] = ()
    """The newest of each two versions, whichever way round."""
    jobs: MutableMapping[str, Job] = field(default_factory=dict)
    expected: MutableMapping[str, Expected] = field(default_factory=dict)
    """By the name of a job: who was expected to go on with it before it opened. It stays when the job has opened."""
    kept: tuple[KeptFolder, ...] = ()
    """Folders that wait for a person at their site, in the order in which they were told of."""
    decisions: tuple[Decision, ...] = ()
    """Oldest first, as are those below."""
    comparisons: tuple[Comparison, ...] = ()
    judgements: tuple[Judgement, ...] = ()
    closings: tuple[Closing, ...] = ()
    retired: int | None = None
    """The first entry that retired versions from the bucket: since then it takes no further ones."""
    asked_comparisons: tuple[AskedComparison, ...] = ()
    """Comparison copies that were asked for, made or not, oldest first."""
    pins: tuple[Pin, ...] = ()
    """Frames of two prints that people say show the same; those that count."""

    def draft(self) -> Self:
        """Return a copy that can be folded into and thrown away; it sees this state and leaves it alone."""
        return replace(
            self,
            roster=ChainMap({}, self.roster),
            versions=ChainMap({}, self.versions),
            newest=ChainMap({}, self.newest),
            jobs=ChainMap({}, self.jobs),
            expected=ChainMap({}, self.expected),
        )

    def still(self) -> Self:
        """Return this state as it is now; what is folded into this one later does not show in it."""
        return replace(
            self,
            roster=dict(self.roster),
            versions=dict(self.versions),
            newest=dict(self.newest),
            jobs=dict(self.jobs),
            expected=dict(self.expected),
        )

    def film(self) -> Production:
        """Return the production. Raises MissingError before entry 0."""
        if self.production is None:
            raise MissingError("this ledger has no entry yet: create the production first")
        return self.production

    def signer(self, name: str, role: Role) -> Signer | None:
        """Return the key that `name` signs with now in `role`, or None."""
        return next((s for s in self.roster.values() if s.name == name and s.role is role and s.until is None), None)

    def has_joined(self, site: str) -> bool:
        """Answer whether `site` can sign."""
        for signer in self.roster.values():  # asked for every job of every page: a plain loop takes half as long
            if signer.name == site and signer.until is None and signer.role in (Role.SITE, Role.COORDINATOR):
                return True
        return False

    def reel(self, text: str) -> ReelName:
        """Return the reel that `text` names. Raises RefusedError where that is no name of a reel, and MissingError."""
        try:
            reel = parse_reel(text)
        except ValueError as error:
            raise RefusedError(f"{error}; `relay reel list` shows the reels") from error
        if reel not in self.film().reel_names():
            raise MissingError(f"the production has no reel {reel}: `relay reel list` shows those it has")
        return reel

    def aligned(self) -> frozenset[VersionName]:
        """Return the versions that were put beside another print."""
        return frozenset(name for each in self.alignments for name in (each.one, each.other))

    def of_reel(self, reel: ReelName) -> tuple[Version, ...]:
        """Return the versions of `reel`, oldest first."""
        return tuple(self.versions[version_name(reel, number)] for number in range(1, self.newest.get(reel, 0) + 1))

    def version(self, text: str) -> Version:
        """Return the version that `text` names, or the newest of a reel. Raises RefusedError, and MissingError."""
        try:
            name = parse_version(text)
        except ValueError:
            reel = self.reel(text)
            if reel not in self.newest:
                raise MissingError(f"reel {text} has no version yet: nothing of it was sent") from None
            return self.versions[version_name(reel, self.newest[reel])]
        reel = self.reel(reel_of(name))
        if name not in self.versions:
            raise MissingError(f"there is no {name}: `relay reel show {reel}` lists the versions of {reel}")
        return self.versions[name]

    def kept_at(self, site: str) -> tuple[KeptFolder, ...]:
        """Return the folders that `site` said it could not send, and that still lie there."""
        return tuple(each for each in self.kept if each.site == site)

    def to_json(self) -> bytes:
        """Return it in one line for another process of this machine and this release; `of_json` reads it back."""
        return _adapter().dump_json(self.still())

    @classmethod
    def of_json(cls, raw: bytes) -> "State":
        """Return what `to_json` gave."""
        return _adapter().validate_json(raw)

    def projection(self) -> bytes:
        """Return the whole state as canonical JSON: equal states give equal bytes."""
        shown = _adapter().dump_python(self.still(), mode="json")
        return json.dumps(shown, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


@cache
def _adapter() -> TypeAdapter[State]:
    """Built at first use: it takes a sixth of the time in which any command is loaded, and few commands need it."""
    return TypeAdapter(State)
