"""What can be said about jobs: frozen facts, in the past tense. Values only; reads nothing. See docs/STATES.md.

The number of the entry that makes a claim is the claim's epoch. Every later word about that claim carries it.
"""

from typing import Annotated, Literal

from pydantic import Field

from relay.model import DigestField, FrameRange, Frozen, Instant, Line, Note, ReelField, Slug, VersionField

JobId = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_/.-]{0,99}$")]
"""The name of a job: its stage, its reel and a number, such as `scan/A/R03/1`."""

Epoch = Annotated[int, Field(ge=1)]

LONGEST_LEASE = 7 * 24 * 3600
"""Seconds. A machine that may be silent for longer than a week is no machine that anybody waits for."""


class JobOpened(Frozen):
    """There is work to do on a reel at a stage of the route."""

    word: Literal["job-opened"] = "job-opened"
    job: JobId
    stage: Slug
    reel: ReelField
    inputs: tuple[VersionField, ...] = ()
    frames: tuple[FrameRange, ...] = ()
    """Only these of the reel's frames: a second pass on one shot. Empty: the whole reel."""
    prefers: Slug | None = None
    """The site that is asked first; another may still claim."""
    reason: Note = ""


class InputsRenewed(Frozen):
    """What a job that waits takes was made anew since it opened; one that had stopped may be tried again with it."""

    word: Literal["inputs-renewed"] = "inputs-renewed"
    job: JobId
    inputs: tuple[VersionField, ...]


class JobClaimed(Frozen):
    """The signer took a job: a person until a time, which never lapses by itself, or a machine for a lease."""

    word: Literal["job-claimed"] = "job-claimed"
    job: JobId
    lease: Annotated[int, Field(ge=1, le=LONGEST_LEASE)] | None = None
    """Seconds without a sign of life after which anyone may say that a machine's claim lapsed."""
    until: Instant | None = None
    """When a person means to be done."""


class ClaimExtended(Frozen):
    """The holder needs until another time."""

    word: Literal["claim-extended"] = "claim-extended"
    job: JobId
    epoch: Epoch
    until: Instant


class ClaimReleased(Frozen):
    """The holder gave the job back undone."""

    word: Literal["claim-released"] = "claim-released"
    job: JobId
    epoch: Epoch
    reason: Note = ""


class ClaimLapsed(Frozen):
    """No sign of life came from the holder of a machine's claim for longer than its lease."""

    word: Literal["claim-lapsed"] = "claim-lapsed"
    job: JobId
    epoch: Epoch
    silent: Annotated[int, Field(ge=1)]
    """Seconds since the last sign, by the store's own clock, as the signer saw it: what the signer vouches for."""


class ClaimReassigned(Frozen):
    """The coordinator took the job from its holder, for another site or for whoever comes first."""

    word: Literal["claim-reassigned"] = "claim-reassigned"
    job: JobId
    epoch: Epoch
    to: Slug | None = None
    reason: Line


class SiteAsked(Frozen):
    """The coordinator asks a site first for an open job, or nobody: as planned, or because a person knows better."""

    word: Literal["site-asked"] = "site-asked"
    job: JobId
    to: Slug | None = None
    begins: Instant | None = None
    """When the plan has it begin there. None: a person asks, and plans leave it so."""
    reason: Line


class SiteExpected(Frozen):
    """The coordinator expects a site to go on with a job that is still to open, and to receive what leads to it."""

    word: Literal["site-expected"] = "site-expected"
    job: JobId
    to: Slug | None = None
    begins: Instant | None = None
    """When the plan has it begin there. None: a person said so, and plans leave it so."""
    reason: Line


class HandOnOffered(Frozen):
    """The holder's day ends; the named site is asked to go on. The claim moves only with that site's word."""

    word: Literal["hand-on-offered"] = "hand-on-offered"
    job: JobId
    epoch: Epoch
    to: Slug
    done: Line
    left: Line
    faults: Note = ""
    frames: tuple[FrameRange, ...] = ()
    """The frames that were touched so far."""
    version: VersionField | None = None
    """The work so far, sent as a version."""
    until: Instant | None = None


class HandOnTaken(Frozen):
    """The asked site goes on. This entry's number is the new epoch."""

    word: Literal["hand-on-taken"] = "hand-on-taken"
    job: JobId
    epoch: Epoch
    until: Instant | None = None


class HandOnDeclined(Frozen):
    """The asked site does not, or the holder took the offer back."""

    word: Literal["hand-on-declined"] = "hand-on-declined"
    job: JobId
    epoch: Epoch
    reason: Line


class JobHandedIn(Frozen):
    """The holder finished: `version` is the outcome. Always beside the VersionMade it names, in one entry."""

    word: Literal["job-handed-in"] = "job-handed-in"
    job: JobId
    epoch: Epoch
    version: VersionField
    note: Note = ""


class WorkCameLate(Frozen):
    """A former holder's work, kept as a version that nobody accepted. Beside the VersionMade it names."""

    word: Literal["work-came-late"] = "work-came-late"
    job: JobId
    epoch: Epoch
    version: VersionField


class TryFailed(Frozen):
    """A worker tried a job and could not do it; the job is free again, or stops when that was one try too many."""

    word: Literal["try-failed"] = "try-failed"
    job: JobId
    epoch: Epoch
    said: Annotated[str, Field(max_length=4000)]
    """The last lines that the command wrote."""


class JobRestarted(Frozen):
    """A stopped job may be tried again."""

    word: Literal["job-restarted"] = "job-restarted"
    job: JobId
    reason: Line


class JobAccepted(Frozen):
    """The handed-in version is good."""

    word: Literal["job-accepted"] = "job-accepted"
    job: JobId
    version: VersionField
    note: Note = ""
    despite: DigestField | None = None
    """The report of an inspection whose findings block acceptance, when a person says in `note` that they are none."""
    despite_list: DigestField | None = None
    """The report of a check against a cut list, likewise."""
    unseen: Literal[True] | None = None
    """A person accepts what nobody looked at, and says in `note` why."""


class JobReturned(Frozen):
    """The version is not good, and why; the job is open again, its last holder asked first."""

    word: Literal["job-returned"] = "job-returned"
    job: JobId
    version: VersionField
    reasons: Line


class JobWithdrawn(Frozen):
    """The work is not wanted any more."""

    word: Literal["job-withdrawn"] = "job-withdrawn"
    job: JobId
    reason: Line


JobWord = (
    JobOpened
    | InputsRenewed
    | JobClaimed
    | ClaimExtended
    | ClaimReleased
    | ClaimLapsed
    | ClaimReassigned
    | SiteAsked
    | SiteExpected
    | HandOnOffered
    | HandOnTaken
    | HandOnDeclined
    | JobHandedIn
    | WorkCameLate
    | TryFailed
    | JobRestarted
    | JobAccepted
    | JobReturned
    | JobWithdrawn
)
