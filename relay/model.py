"""The nouns of a production: frozen, validated, and the same for the command, the ledger and the board."""

import hashlib
import re
from datetime import UTC, date, datetime
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, NewType, Self
from zoneinfo import ZoneInfo, available_timezones

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
