"""What can be said in the ledger: frozen facts, in the past tense. Values only; reads nothing.

Whoever adds a word adds its rule in `relay.ledger.rules`; without one the fold does not type-check.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, TypeAdapter, model_validator

from relay.ledger.comparison_words import ComparisonWord
from relay.ledger.decision_words import DecisionWord
from relay.ledger.job_words import JobWord
from relay.ledger.keys import PublicKeyField
from relay.ledger.pin_words import PlacePinned
from relay.model import (
    DigestField,
    FrameRange,
    Frozen,
    Line,
    Note,
    Production,
    ScanMap,
    Slug,
    VersionField,
)

FAULTS_IN_ENTRY = 200
"""How many bad files a receipt spells out; the rest are counted."""

KEPT_FOLDERS = 50
"""How many folders that were not sent a site tells of at a time; the notes beside them say the rest."""


class ProductionCreated(Frozen):
    """Entry 0: what the production is, who its root is and whose daily key coordinates it."""

    word: Literal["production-created"] = "production-created"
    production: Production
    root: PublicKeyField
    coordinator: PublicKeyField


class ProductionRevised(Frozen):
    """The production's file was changed: elements came in late, a site was added, the route grew."""

    word: Literal["production-revised"] = "production-revised"
    production: Production
    reason: Line


class SiteInvited(Frozen):
    """A site may join, once, with the key in its invitation."""

    word: Literal["site-invited"] = "site-invited"
    site: Slug
    invitation: PublicKeyField


class SiteJoined(Frozen):
    """A site used its invitation and signs with `key` from now on."""

    word: Literal["site-joined"] = "site-joined"
    site: Slug
    key: PublicKeyField


class SiteRemoved(Frozen):
    """A site's keys and open invitations stopped counting. What it said before stands."""

    word: Literal["site-removed"] = "site-removed"
    site: Slug
    reason: Line


class KeyReplaced(Frozen):
    """Whoever signed as `name` signs with `key` from now on; all earlier keys of that name stopped counting."""

    word: Literal["key-replaced"] = "key-replaced"
    name: Slug
    key: PublicKeyField
    reason: Line


class VersionMade(Frozen):
    """A reel has a new numbered state, whose files the manifest names and the bucket holds."""

    word: Literal["version-made"] = "version-made"
    version: VersionField
    manifest: DigestField
    files: Annotated[int, Field(ge=1)]
    size: Annotated[int, Field(ge=0)]
    """Bytes, all files together."""
    parents: tuple[VersionField, ...] = ()
    scan_map: ScanMap | None = None
    note: Note = ""


class Fault(Frozen):
    """One file that is not what its manifest says."""

    path: Annotated[str, Field(max_length=2000)]
    what: Literal["changed", "missing", "extra", "not a file"]
    where: Literal["bucket", "arrival"]
    expected: DigestField | None = None
    """The SHA-256 of the object: the file, or one chunk of it."""
    found: DigestField | None = None
    """None where there was nothing to hash."""
    detail: Annotated[str, Field(max_length=400)] = ""


class ReceiptSigned(Frozen):
    """A site says that a version arrived whole, or what was wrong with it."""

    word: Literal["receipt-signed"] = "receipt-signed"
    version: VersionField
    manifest: DigestField
    whole: bool
    faults: Annotated[tuple[Fault, ...], Field(max_length=FAULTS_IN_ENTRY)] = ()
    faults_in_all: Annotated[int, Field(ge=0)] = 0
    carried: Annotated[int, Field(ge=1)] | None = None
    """Bytes that came over the line for it, the last time; left out where none did."""
    took: Annotated[int, Field(ge=1)] | None = None
    """Milliseconds in which they came."""


class VersionInspected(Frozen):
    """A site looked at a version's pictures and sound; the report, an object in the store, says what was found."""

    word: Literal["version-inspected"] = "version-inspected"
    version: VersionField
    manifest: DigestField
    report: DigestField
    blocking: Annotated[int, Field(ge=0)]
    """Findings that block acceptance, by the rules of the site that looked."""
    warning: Annotated[int, Field(ge=0)]
    sheet: DigestField | None = None
    """A contact sheet, as PNG."""
    strip: DigestField | None = None
    """A thumbnail for each second, cuts and findings marked, as PNG."""
    thumbnails: DigestField | None = None
    """A small grey thumbnail of every frame, in NumPy's file form: what prints are aligned by."""


class VersionConformed(Frozen):
    """A site held a version against a cut list, frame for frame; the report, an object in the store, says how it lies.

    The list is an object, too: whoever doubts the report can hold the version against the same bytes.
    """

    word: Literal["version-conformed"] = "version-conformed"
    version: VersionField
    manifest: DigestField
    cut_list: DigestField
    report: DigestField
    blocking: Annotated[int, Field(ge=0)]
    """Places that lack, or show another frame than the list says."""
    warning: Annotated[int, Field(ge=0)]


class VersionsAligned(Frozen):
    """A site put two prints of one reel side by side; the frame map, an object in the store, says what shows what."""

    word: Literal["versions-aligned"] = "versions-aligned"
    one: VersionField
    other: VersionField
    frame_map: DigestField
    matched: Annotated[int, Field(ge=0)]
    """Frames of `one` that `other` has."""
    sure: Annotated[int, Field(ge=0)]
    """Frames of `one` of which the map is sure, whether `other` has or lacks them."""
    frames: Annotated[int, Field(ge=1)]
    """Of `one`, in all."""
    pins: Annotated[tuple[Annotated[int, Field(ge=1)], ...], Field(max_length=10_000)] = ()
    """The entries of the pins that it keeps to."""

    @model_validator(mode="after")
    def _is_about_two(self) -> Self:
        if self.one == self.other:
            raise ValueError(f"{self.one} was aligned with itself: two versions are needed")
        if max(self.matched, self.sure) > self.frames:
            raise ValueError(f"{self.one} has {self.frames} frames: no more can be matched or sure")
        return self


class VersionNotInspected(Frozen):
    """The site that received a version should look at its pictures and cannot: nobody there looked, and why."""

    word: Literal["version-not-inspected"] = "version-not-inspected"
    version: VersionField
    manifest: DigestField
    why: Line


class MaterialKept(Frozen):
    """A still or a paper lies in the store as one object: it belongs to an element, a reel or a place on it."""

    word: Literal["material-kept"] = "material-kept"
    about: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,24}(/[A-Za-z0-9_-]{1,24})?$")]
    """An element's code, or a reel's name."""
    frames: Annotated[tuple[FrameRange, ...], Field(max_length=100)] = ()
    """In the reel's own numbers."""
    name: Annotated[str, StringConstraints(pattern=r"^[^/\\\x00-\x1f\x7f]{1,255}$")]
    """The file's own."""
    object: DigestField
    size: Annotated[int, Field(ge=1, le=128 * 1024 * 1024)]
    """Bytes."""
    note: Note = ""


class CopyChecked(Frozen):
    """Every byte of one copy of a version was read again, and what was found."""

    word: Literal["copy-checked"] = "copy-checked"
    version: VersionField
    manifest: DigestField
    place: Literal["bucket", "site", "drive"]
    label: Line = "-"
    """Which drive, or which folder at the site; `-` for the bucket."""
    outcome: Literal["whole", "bad", "gone"]
    """Gone: it is no copy any more, since people work on it or it was removed."""
    faults: Annotated[tuple[Fault, ...], Field(max_length=FAULTS_IN_ENTRY)] = ()
    faults_in_all: Annotated[int, Field(ge=0)] = 0


class ObjectMended(Frozen):
    """An object's bytes no longer fitted its name; a good copy was put in their place."""

    word: Literal["object-mended"] = "object-mended"
    object: DigestField
    found: DigestField | None = None
    """The SHA-256 of the bytes that lay there; None where the object was gone."""
    version: VersionField
    """The version whose good copy was used."""


class FolderNotSent(Frozen):
    """A folder in the signer's `to-send/` stays there: it matches no reel, or something in it is wrong. Said once."""

    word: Literal["folder-not-sent"] = "folder-not-sent"
    folder: Line
    why: Line


class FolderSettled(Frozen):
    """A folder that was not sent was sent since, or is not there any more."""

    word: Literal["folder-settled"] = "folder-settled"
    folder: Line


Word = (
    ProductionCreated
    | ProductionRevised
    | SiteInvited
    | SiteJoined
    | SiteRemoved
    | KeyReplaced
    | VersionMade
    | ReceiptSigned
    | VersionInspected
    | VersionConformed
    | VersionsAligned
    | VersionNotInspected
    | MaterialKept
    | CopyChecked
    | ObjectMended
    | FolderNotSent
    | FolderSettled
    | PlacePinned
    | ComparisonWord
    | DecisionWord
    | JobWord
)

AnyWord = Annotated[Word, Field(discriminator="word")]
WORDS: TypeAdapter[Word] = TypeAdapter(AnyWord, config={"defer_build": True})
