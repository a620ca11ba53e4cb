"""What an S3 server answers when it does not do what was asked, put into the families that say how to react."""

import re
from datetime import datetime
from email.utils import parsedate_to_datetime
from html import unescape

from relay.errors import BrokenError, MissingError, RefusedError, RelayError, TransientError
from relay.store.wire import Answer

_ALTERED = {"BadDigest", "XAmzContentSHA256Mismatch"}
_FULL = {"QuotaExceeded", "InsufficientStorage", "XMinioStorageFull"}
_PASSING = {"RequestTimeout", "IncompleteBody"}  # which come with a 400
_OTHER_REGION = {"PermanentRedirect", "AuthorizationHeaderMalformed", "IllegalLocationConstraintException"}
_REMARK = 300  # characters of a stranger's text that a person is shown

_NEXT = {
    "SignatureDoesNotMatch": "The secret key does not fit the access key (or a proxy altered the request): check both.",
    "InvalidAccessKeyId": "The store does not know this access key: check it, or ask for a new one.",
    "ExpiredToken": "These credentials have run out: fetch new ones.",
    "AccessDenied": "The key is known but may not do this: ask whoever runs the store for the right.",
    "NotImplemented": "This server lacks what a store must promise: use another one.",
}


def code_of(answer: Answer) -> str:
    """Return the S3 error code, such as `NoSuchKey`, or the bare status where the server names none."""
    return (_element(answer, "Code") if answer.status >= 300 else "") or str(answer.status)


def is_passing(answer: Answer) -> bool:
    """Answer whether the same request may well be granted in a moment."""
    code = code_of(answer)
    if code in _FULL or answer.status == 501:
        return False
    return answer.status in {408, 409, 429} or answer.status >= 500 or code in _PASSING


def time_of(answer: Answer) -> datetime | None:
    """Return the server's own time, in UTC, to the second, where it gave one."""
    try:
        return parsedate_to_datetime(answer.headers["date"])
    except (KeyError, ValueError):
        return None


def refusal(answer: Answer, what: str, at: datetime) -> RelayError:
    """Return the error for an answer to `what`, a clause like "s3://b/p: create k", asked at our time `at`."""
    code = code_of(answer)
    said = f"{what}: the store answered {answer.status} {code}{_message(answer)}."
    if code in _ALTERED:
        return BrokenError(
            f"{said} The bytes that arrived are not the ones that were hashed: the file changed meanwhile, or the line "
            "or this machine's memory alters bytes. Send it again; if it comes back, have the machine looked at."
        )
    if code == "NoSuchBucket":
        return MissingError(f"{said} There is no such bucket there: check the address, or have the bucket created.")
    if code in _FULL:
        return TransientError(f"{said} The store is full: make room there, then run the same command again.")
    if answer.status == 404:
        return MissingError(f"{what}: there is no such object (yet).")
    if code == "RequestTimeTooSkewed":
        return RefusedError(
            f"{said} This machine's clock says {at.isoformat()}, the store's says {_clock(answer)}, and no more than "
            "15 minutes may lie between them: set the clock that is wrong."
        )
    if code in _OTHER_REGION:
        return RefusedError(f"{said} The bucket lies in region {_element(answer, 'Region') or 'unknown'}: name it.")
    return RefusedError(f"{said} {_NEXT.get(code, 'Change what was asked, or ask whoever runs the store.')}")


def _message(answer: Answer) -> str:
    told = unescape(_element(answer, "Message"))[:_REMARK]
    text = "".join(letter for letter in told if letter.isprintable()).rstrip(".")
    return f" ({text})" if text else ""


def _clock(answer: Answer) -> str:
    found = time_of(answer)
    return found.isoformat() if found else "nothing"


def _element(answer: Answer, name: str) -> str:
    found = re.search(f"<{name}>([^<]*)</{name}>", answer.body.decode(errors="replace"))
    return found[1].strip() if found else ""
