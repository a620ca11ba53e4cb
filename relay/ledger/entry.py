"""An entry and its stored bytes: one line that is signed, one line that is the signature.

The first line is JSON in its canonical form (keys in order, no spaces, UTF-8, whole numbers only); the signature is
over exactly that line with its line feed. The next entry carries the SHA-256 of both lines as they lie in the bucket.
Nothing is ever written again from what was read, so `sha256sum` and `openssl` alone can check a ledger.
"""

import binascii
import json
import re
from datetime import datetime
from typing import Annotated, Literal, NamedTuple

from pydantic import AfterValidator, Field, ValidationError
from pydantic_core import ErrorDetails, from_json

from relay.errors import BrokenError, RefusedError
from relay.ledger.keys import Pen, key_id
from relay.ledger.words import AnyWord, Word
from relay.model import Digest, DigestField, Frozen, Instant, Slug, digest_of

ENTRY_LIMIT = 8 * 1024 * 1024  # bytes: a production's file with thousands of reels fits
FORMAT = 1
NO_ENTRY = Digest("0" * 64)
"""What the first entry carries in place of the digest of the one before it."""

_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_NEWER = frozenset({"union_tag_invalid", "literal_error", "enum", "extra_forbidden"})
"""What a word, a field or a choice looks like that was added after this Relay was made."""


def _check_whole_seconds(instant: datetime) -> datetime:
    if instant.microsecond:
        raise ValueError(f"{instant.isoformat()} has a fraction of a second")
    return instant


class Body(Frozen):
    """What is signed."""

    relay_entry: Literal[1]
    sequence: Annotated[int, Field(ge=0)]
    previous: DigestField
    by: Slug
    key: DigestField
    time: Annotated[Instant, AfterValidator(_check_whole_seconds)]
    nonce: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    words: Annotated[tuple[AnyWord, ...], Field(min_length=1, max_length=10_000)]


class Entry(NamedTuple):
    """One signed statement, with the exact bytes that lie in the bucket."""

    body: Body
    raw: bytes
    digest: Digest
    signed: bytes
    signature: bytes

    @property
    def sequence(self) -> int:
        return self.body.sequence


def _encode(value: object) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def write_entry(
    pen: Pen, words: tuple[Word, ...], *, sequence: int, previous: Digest, time: datetime, nonce: str
) -> bytes:
    """Return the bytes of a new entry, signed by `pen`. Raises RefusedError where these words make none."""
    try:
        body = Body(
            relay_entry=FORMAT,
            sequence=sequence,
            previous=previous,
            by=pen.name,
            key=key_id(pen.public),
            time=time,
            nonce=nonce,
            words=words,
        )
    except ValidationError as error:
        told = _told(error.errors(include_url=False)[0])
        raise RefusedError(f"this cannot be an entry ({told}): say something else, or less at once") from error
    signed = _encode(body.model_dump(mode="json", exclude_none=True, exclude_defaults=False, by_alias=True))
    return signed + binascii.b2a_base64(pen.sign(signed))


def read_entry(raw: bytes, slot: int) -> Entry:
    """Read the bytes that lie in `slot`. Raises BrokenError saying why they are no entry."""
    first, feed, rest = raw.partition(b"\n")
    signed = first + feed
    if not feed or not rest.endswith(b"\n") or b"\n" in rest[:-1]:
        raise BrokenError(f"entry {slot} is not two lines: the bucket holds something that no Relay wrote there")
    try:
        signature = binascii.a2b_base64(rest)
        body = Body.model_validate_json(signed, strict=True)
    except ValidationError as error:
        raise _unreadable(slot, error) from error
    except binascii.Error as error:
        raise BrokenError(f"entry {slot} has no readable signature: {error}") from error
    if binascii.b2a_base64(signature) != rest:
        raise BrokenError(f"entry {slot} has its signature in an unusual coding")
    return Entry(body, raw, digest_of(raw), signed, signature)


def _unreadable(slot: int, error: ValidationError) -> BrokenError:
    newer = [each for each in error.errors(include_url=False) if each["type"] in _NEWER]
    if newer:
        return BrokenError(
            f"entry {slot} says something that this Relay does not know ({_told(newer[0])}): "
            "upgrade Relay, then run this again"
        )
    return BrokenError(f"entry {slot} cannot be read: {_told(error.errors(include_url=False)[0])}")


def _told(detail: ErrorDetails) -> str:
    return f"at {'.'.join(str(part) for part in detail['loc']) or 'its start'}: {detail['msg']}"


def is_canonical(entry: Entry) -> bool:
    """Answer whether the signed line is the one canonical form of what it says."""
    said = from_json(entry.signed)
    return _TIME.fullmatch(said["time"]) is not None and _encode(said) == entry.signed
