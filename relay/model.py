"""The nouns of a production: frozen, validated, and the same for the command, the ledger and the board."""

import hashlib
import re
from datetime import UTC, date, datetime
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, NewType, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

Digest = NewType("Digest", str)
"""A SHA-256, as 64 lower-case hexadecimal figures."""

_DIGEST = re.compile(r"[0-9a-f]{64}")


def digest_of(body: bytes | bytearray | memoryview) -> Digest:
    """Return the SHA-256 of `body`."""
    return Digest(hashlib.sha256(body).hexdigest())


def parse_digest(text: str) -> Digest:
    """Return `text` as a digest. Raises ValueError."""
    if not _DIGEST.fullmatch(text):
        raise ValueError(f"{text!r} is not a SHA-256: expected 64 figures 0-9 a-f")
    return Digest(text)


DigestField = Annotated[Digest, AfterValidator(parse_digest)]


class Frozen(BaseModel):
    """A value: unknown fields are refused, and nothing changes after it is made."""

    model_config = ConfigDict(frozen=True, extra="forbid")


_SLUG = r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?"
_CODE = r"[A-Za-z0-9](?:[A-Za-z0-9_-]{0,22}[A-Za-z0-9])?"

Slug = Annotated[str, StringConstraints(pattern=f"^{_SLUG}$")]
"""A name for a production, a site or a stage: lower case, figures and hyphens, at most 40."""

Code = Annotated[str, StringConstraints(pattern=f"^{_CODE}$")]
"""What is written on the can: an element's or a reel's short code, such as `A` or `R03`."""

Line = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=400, pattern=r"^[^\x00-\x1f\x7f]*$")
]
"""One line of text by a person."""

Note = Annotated[str, StringConstraints(max_length=4000)]
"""What a person wants to say, in as many lines as it takes."""

ReelName = NewType("ReelName", str)
"""One reel of one element: `A/R03`."""

VersionName = NewType("VersionName", str)
"""One numbered state of a reel: `A/R03/v3`."""

_REEL = re.compile(f"({_CODE})/({_CODE})")
_VERSION = re.compile(f"({_CODE}/{_CODE})/v([1-9][0-9]{{0,5}})")


def parse_reel(text: str) -> ReelName:
    """Return `text` as the name of a reel. Raises ValueError."""
    if not _REEL.fullmatch(text):
        raise ValueError(f"{text!r} does not name a reel: expected ELEMENT/REEL, such as A/R03")
    return ReelName(text)


def parse_version(text: str) -> VersionName:
    """Return `text` as the name of a version. Raises ValueError."""
    if not _VERSION.fullmatch(text):
        raise ValueError(f"{text!r} does not name a version: expected ELEMENT/REEL/vNUMBER, such as A/R03/v3")
    return VersionName(text)


def version_name(reel: ReelName, number: int) -> VersionName:
    """Return the name of version `number` of `reel`."""
    return VersionName(f"{reel}/v{number}")


def reel_of(version: VersionName) -> ReelName:
    """Return the reel that `version` is a state of."""
    return ReelName(version.rpartition("/")[0])


def number_of(version: VersionName) -> int:
    """Return the number of `version`, counted from 1."""
    return int(version.rpartition("/v")[2])


ReelField = Annotated[ReelName, AfterValidator(parse_reel)]
VersionField = Annotated[VersionName, AfterValidator(parse_version)]


def _parse_zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"{text!r} is not a time zone: expected an IANA name, such as Europe/Lisbon") from error
    return text


ZoneName = Annotated[str, AfterValidator(_parse_zone)]
"""An IANA time zone name."""


def _check_utc(instant: datetime) -> datetime:
    if instant.tzinfo is None or instant.utcoffset() != UTC.utcoffset(None):
        raise ValueError(f"{instant.isoformat()} is not in UTC")
    return instant


Instant = Annotated[datetime, AfterValidator(_check_utc)]
"""An aware instant in UTC."""


class ElementKind(StrEnum):
    """What a physical source is, in FIAF's terms."""

    ORIGINAL_NEGATIVE = "original negative"
    DUPLICATE_NEGATIVE = "duplicate negative"
    FINE_GRAIN_MASTER = "fine grain master"
    WORK_PRINT = "work print"
    PROJECTION_PRINT = "projection print"
    COMPOSITE_PRINT = "composite print"
    TRACK_NEGATIVE = "track negative"
    RESTORED_PROGRAMME = "restored programme"


class Base(StrEnum):
    """What the film is made of. Nitrate burns and decays: handle it by local codes and licensed practice."""

    NITRATE = "nitrate"
    ACETATE = "acetate"
    DIACETATE = "diacetate"
    TRIACETATE = "triacetate"
    POLYESTER = "polyester"
    MIXED = "mixed"
    NONE = "none"  # the restored programme, while it exists as files only


class Premiere(Frozen):
    """The date that does not move: a local time at a venue."""

    at: datetime
    zone: ZoneName
    venue: Line

    @model_validator(mode="after")
    def _is_local(self) -> Self:
        if self.at.tzinfo is not None:
            raise ValueError("the premiere's time is the venue's local time: leave the offset out, `zone` gives it")
        return self

    def instant(self) -> datetime:
        """Return the premiere's instant, in UTC."""
        return self.at.replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)


class Site(Frozen):
    """A place that works."""

    name: Slug
    title: Line
    zone: ZoneName
    stages: tuple[Slug, ...] = ()
    mends: bool = False
    """May replace an object in the bucket whose bytes no longer fit its name, from a good copy."""


class Loan(Frozen):
    """On what terms an archive lent an element."""

    due_back: date
    credit: Line
    permitted_use: Line


class Reel(Frozen):
    """One reel of an element; `frames` is what the can or a count says, before any scan."""

    name: Code
    frames: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    note: Note = ""


class Element(Frozen):
    """One physical source held by an archive."""

    code: Code
    title: Line
    kind: ElementKind
    gauge: Line
    base: Base
    holder: Line
    condition: Note = ""
    generation: Note = ""
    speed: Annotated[str, StringConstraints(pattern=r"^[0-9]+(/[0-9]+)?$")] = "18"
    """Frames a second, as a whole number or an exact fraction."""
    loan: Loan | None = None
    reels: Annotated[tuple[Reel, ...], Field(min_length=1, alias="reel")]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def rate(self) -> Fraction:
        """Return the element's speed in frames a second, exactly."""
        return Fraction(self.speed)


class Stage(Frozen):
    """A step of the route."""

    name: Slug
    after: tuple[Slug, ...] = ()
    opens_on: Annotated[str, StringConstraints(pattern="^(arrival|acceptance)$")] = "arrival"
    """Whether this stage opens when its input has arrived verified, or only when it was accepted."""
    may_move: bool = False
    """Whether work at this stage may be handed on to another site half-done."""


class Production(Frozen):
    """One film being restored, as its file says: sites, elements, route and premiere."""

    name: Slug
    title: Line
    premiere: Premiere
    coordinator: Slug
    sites: Annotated[tuple[Site, ...], Field(min_length=1, alias="site")]
    elements: Annotated[tuple[Element, ...], Field(min_length=1, alias="element")]
    route: Annotated[tuple[Stage, ...], Field(alias="stage")] = ()

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        _check_once("site", [site.name for site in self.sites])
        _check_once("element", [element.code.casefold() for element in self.elements])
        _check_once("stage", [stage.name for stage in self.route])
        for element in self.elements:
            _check_once(f"reel of element {element.code}", [reel.name.casefold() for reel in element.reels])
        if self.coordinator not in {site.name for site in self.sites}:
            raise ValueError(f"the coordinator {self.coordinator!r} is none of the sites: add a [[site]] of that name")
        _check_route(self.route)
        return self

    def reel_names(self) -> list[ReelName]:
        """Return every reel of every element, in the file's order."""
        return [ReelName(f"{element.code}/{reel.name}") for element in self.elements for reel in element.reels]

    def site(self, name: str) -> Site | None:
        """Return the site called `name`, or None."""
        return next((site for site in self.sites if site.name == name), None)

    def element_of(self, reel: ReelName) -> Element | None:
        """Return the element that `reel` belongs to, or None."""
        return next((element for element in self.elements if element.code == reel.partition("/")[0]), None)


def _check_once(what: str, names: list[str]) -> None:
    for name in sorted(set(names)):
        if names.count(name) > 1:
            raise ValueError(f"{what} {name!r} stands {names.count(name)} times: each name may stand once")


def _check_route(route: tuple[Stage, ...]) -> None:
    known = {stage.name for stage in route}
    for stage in route:
        for before in stage.after:
            if before not in known:
                raise ValueError(f"stage {stage.name!r} comes after {before!r}, which is no stage of the route")
    done: set[str] = set()
    while remaining := [stage for stage in route if stage.name not in done]:
        ready = {stage.name for stage in remaining if set(stage.after) <= done}
        if not ready:
            raise ValueError(
                "the route is a loop: " + ", ".join(stage.name for stage in remaining) + " wait for each other"
            )
        done |= ready


class FrameRange(Frozen):
    """Frames `first` to `last`, both included, in the reel's own numbers."""

    first: int
    last: int

    @model_validator(mode="after")
    def _goes_forward(self) -> Self:
        if self.last < self.first:
            raise ValueError(f"frames {self.first} to {self.last} run backwards")
        return self

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


def ranges_of(frames: set[int]) -> tuple[FrameRange, ...]:
    """Return `frames` as the fewest ranges, in order."""
    ranges: list[tuple[int, int]] = []
    for frame in sorted(frames):
        if ranges and ranges[-1][1] == frame - 1:
            ranges[-1] = (ranges[-1][0], frame)
        else:
            ranges.append((frame, frame))
    return tuple(FrameRange(first=first, last=last) for first, last in ranges)


class ScanSegment(Frozen):
    """`count` scan files from number `scan` on show the reel's frames from `reel` on; None: all that follow."""

    scan: int
    reel: int
    count: Annotated[int, Field(ge=1)] | None = None


class ScanMap(Frozen):
    """Ties the numbers in a scan's file names to the reel's own frame numbers.

    One segment is a start mark. More are needed where a scan skips or repeats what another scan has,
    as when a splice was remade between a dry scan and a wet-gate scan.
    """

    segments: Annotated[tuple[ScanSegment, ...], Field(min_length=1, max_length=1000)]

    @model_validator(mode="after")
    def _is_one_to_one(self) -> Self:
        for here, then in zip(self.segments, self.segments[1:], strict=False):
            if here.count is None or here.scan + here.count > then.scan or here.reel + here.count > then.reel:
                raise ValueError(f"the segment at scan number {then.scan} overlaps the one before it")
        return self

    @classmethod
    def start_mark(cls, scan: int, reel: int = 0) -> Self:
        """Return the map of a scan whose file number `scan` shows the reel's frame `reel`."""
        return cls(segments=(ScanSegment(scan=scan, reel=reel),))

    def reel_frame(self, scan: int) -> int | None:
        """Return the reel's frame that scan number `scan` shows, or None where the map says nothing of it.

        Numbers ahead of the first segment are leader: they count back from it.
        """
        first = self.segments[0]
        if scan < first.scan:
            return first.reel - (first.scan - scan)
        for segment in self.segments:
            if segment.scan <= scan and (segment.count is None or scan < segment.scan + segment.count):
                return segment.reel + (scan - segment.scan)
        return None
