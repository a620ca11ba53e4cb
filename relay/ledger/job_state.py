"""What the ledger means for jobs: frozen records that the rules replace. Values only; reads nothing."""

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from relay.model import FrameRange, ReelName, VersionName


@dataclass(frozen=True)
class Expected:
    """Who is expected to go on with a job that is still to open."""

    site: str | None
    begins: datetime | None
    """When it is planned to begin there; None where a person said so."""
    reason: str
    entry: int


class Standing(StrEnum):
    """Where a job is in its life; docs/STATES.md draws the arrows between them."""

    OPEN = "open"
    CLAIMED = "claimed"
    HANDED_IN = "handed in"
    ACCEPTED = "accepted"
    STOPPED = "stopped"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True)
class Claim:
    """A site's right to a job; `epoch` is the number of the entry that made it."""

    site: str
    epoch: int
    since: datetime
    lease: int | None = None
    """Seconds; a machine's."""
    until: datetime | None = None
    """A person's."""


@dataclass(frozen=True)
class Offer:
    """A hand-on that waits for the asked site's word."""

    to: str
    entry: int
    done: str
    left: str
    faults: str
    frames: tuple[FrameRange, ...]
    version: VersionName | None
    until: datetime | None


@dataclass(frozen=True)
class Return:
    """One time that the work came back."""

    version: VersionName
    by: str
    entry: int
    reasons: str


@dataclass(frozen=True)
class Job:
    """Work at one stage."""

    job: str
    stage: str
    reel: ReelName
    inputs: tuple[VersionName, ...]
    frames: tuple[FrameRange, ...]
    opened: int
    """The entry that opened it."""
    since: datetime
    """When it came to its present standing."""
    given: int
    """The entry that gave it its present inputs."""
    given_at: datetime
    standing: Standing = Standing.OPEN
    prefers: str | None = None
    """The site that is asked first."""
    begins: datetime | None = None
    """When it was planned to begin there; None where no plan asked, but a person, or the route."""
    asked: str = ""
    """Why it was asked for, where the route did not."""
    reason: str = ""
    """Why it came to its present standing, where somebody said so."""
    claim: Claim | None = None
    offer: Offer | None = None
    hand_ons: tuple[Offer, ...] = ()
    """Those that were taken, oldest first."""
    outcome: VersionName | None = None
    holder: str | None = None
    """Who handed the outcome in."""
    note: str = ""
    """What the holder said when handing in."""
    returns: tuple[Return, ...] = ()
    failures: int = 0
    """Tries that failed since it opened, was returned, was restarted or was given new inputs."""
    lapses: int = 0
    """Claims of machines that lapsed in the same time: what kills its worker says nothing."""
    said: str = ""
    """The last lines of the last failed try."""
    past: tuple[Claim, ...] = ()
    """Every claim that was, oldest first."""
    late: tuple[VersionName, ...] = ()
    """What former holders sent after their claim was over."""
    stands_on_returned: tuple[VersionName, ...] = ()
    """Versions that came back and that its inputs are, or were made from."""

    def moved(self, standing: Standing, time: datetime, **changes: object) -> "Job":
        """Return the job in another standing; the claim, an offer and what a plan asked end with the old one."""
        past = (*self.past, self.claim) if self.claim else self.past
        prefers = None if self.begins else self.prefers
        plain = replace(self, claim=None, offer=None, past=past, prefers=prefers, begins=None)
        return replace(plain, standing=standing, since=time, **changes)  # type: ignore[arg-type]

    def afresh(self) -> "Job":
        """Return the job with all its tries before it."""
        return replace(self, failures=0, lapses=0)

    @property
    def waiting_since(self) -> datetime:
        """Since when somebody could have begun with what the job takes now."""
        return max(self.since, self.given_at)

    @property
    def is_over(self) -> bool:
        """Whether nobody is asked to do anything any more."""
        return self.standing in {Standing.ACCEPTED, Standing.WITHDRAWN}
