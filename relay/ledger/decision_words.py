"""What can be said about why the programme is as it is, and of its end: frozen facts. Values only; reads nothing."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from relay.model import DigestField, FrameRange, Frozen, Line, Note, Place, VersionField, reel_of

Verdict = Literal["used", "not used", "replaced", "repaired", "preferred", "left as it is"]
EntryNumber = Annotated[int, Field(ge=1)]
EVIDENCE = 20
"""How many things one decision names as what was looked at."""
RETIRED_IN_ENTRY = 1000
"""How many versions one entry retires; more take another entry."""


class Evidence(Frozen):
    """What was looked at: a version, perhaps against another one, or a still."""

    version: VersionField | None = None
    frames: Annotated[tuple[FrameRange, ...], Field(max_length=100)] = ()
    """In the reel's own numbers."""
    against: VersionField | None = None
    """The version that it was compared with."""
    still: DigestField | None = None
    """A still or paper that was kept, or a picture of an inspection."""

    @model_validator(mode="after")
    def _is_one_thing(self) -> Self:
        if (self.version is None) == (self.still is None):
            raise ValueError("evidence is a version or a still: name one of them")
        if self.version is None and (self.frames or self.against):
            raise ValueError("frames, and what something was compared with, belong to a version")
        return self


class Region(Frozen):
    """A part of the picture, in pixels of `version`'s frames, counted from the top left corner."""

    version: VersionField
    """Shows what belongs to the film: later versions are compared with this one."""
    x: Annotated[int, Field(ge=0, le=65_535)]
    y: Annotated[int, Field(ge=0, le=65_535)]
    width: Annotated[int, Field(ge=1, le=65_535)]
    height: Annotated[int, Field(ge=1, le=65_535)]


class DecisionMade(Frozen):
    """Somebody decided about a place, for a reason, on what they saw. A later word on the place goes before it."""

    word: Literal["decision-made"] = "decision-made"
    place: Place
    verdict: Verdict
    because: Line
    person: Line | None = None
    """Who said so at the site that signs."""
    evidence: Annotated[tuple[Evidence, ...], Field(max_length=EVIDENCE)] = ()
    instead: Place | None = None
    """What was taken in its place."""
    region: Region | None = None
    """What must not be cleaned away, where it is left as it is."""

    @model_validator(mode="after")
    def _fits_its_region(self) -> Self:
        if self.region is None:
            return self
        if self.verdict != "left as it is" or self.place.reel is None or not self.place.frames:
            raise ValueError("a region belongs to frames of a reel that are left as they are")
        if reel_of(self.region.version) != self.place.reel:
            raise ValueError(f"{self.region.version} is no version of {self.place.reel}")
        return self


class RegionCompared(Frozen):
    """A later version was compared with what was left as it is: where the detail is gone, and whether that is sure."""

    word: Literal["region-compared"] = "region-compared"
    decision: EntryNumber
    version: VersionField
    compared: Annotated[int, Field(ge=0)]
    """Frames that both versions have."""
    flagged: Annotated[tuple[FrameRange, ...], Field(max_length=1000)] = ()
    """The reel's frames in which the detail seems to be gone."""
    crops: DigestField | None = None
    """Before and after, side by side, as PNG; left out where nothing could be compared."""


class RegionJudged(Frozen):
    """A person looked at the crops and says whether what belongs to the film is still there."""

    word: Literal["region-judged"] = "region-judged"
    decision: EntryNumber
    version: VersionField
    stands: bool
    because: Note = ""
    person: Line | None = None


class ProductionClosed(Frozen):
    """The production was exported for good; whoever has the export can check it without this tool."""

    word: Literal["production-closed"] = "production-closed"
    export: DigestField
    """The SHA-256 of the bag's `tagmanifest-sha256.txt`, which names all else in it."""
    finals: Annotated[tuple[VersionField, ...], Field(min_length=1, max_length=1000)]
    """The versions whose files are in it."""
    files: Annotated[int, Field(ge=1)]
    size: Annotated[int, Field(ge=0)]
    """Bytes."""


class VersionsRetired(Frozen):
    """The bucket need not hold these versions any more. That they were there stays written."""

    word: Literal["versions-retired"] = "versions-retired"
    closing: EntryNumber
    versions: Annotated[tuple[VersionField, ...], Field(min_length=1, max_length=RETIRED_IN_ENTRY)]
    reason: Line


DecisionWord = DecisionMade | RegionCompared | RegionJudged | ProductionClosed | VersionsRetired
