"""Names, digests, instants and lines of text: what every other noun is made of."""

import hashlib
import re
from datetime import UTC, datetime
from typing import Annotated, NewType
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints

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


DigestField = Annotated[Digest, StringConstraints(pattern=r"^[0-9a-f]{64}$")]


class Frozen(BaseModel):
    """A value: unknown fields are refused, and nothing changes after it is made."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


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


def code_of(name: str) -> str:
    """Return the code of the element that a reel or a version belongs to, by its name."""
    return name.partition("/")[0]


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
