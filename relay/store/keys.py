"""What an object is called in the bucket. See docs/FORMAT.md.

Every key is plain enough to be a path on any file system, also one that folds case or normalises Unicode, and to
need no escaping in an address.
"""

import re

from relay.errors import RefusedError
from relay.model import Digest, digest_of

DIGEST_PREFIX = "by-digest/"
ENTRY_PREFIX = "entries/"
BUNDLE_PREFIX = "bundles/"
PROBE_PREFIX = "probe/"
ALIVE_PREFIX = "alive/"
KEY_LIMIT = 400  # characters; servers were seen to fail at 900

_KEY = re.compile(r"[a-z0-9_-][a-z0-9._-]{0,99}(/[a-z0-9_-][a-z0-9._-]{0,99})*")


def is_key(text: str) -> bool:
    """Answer whether `text` may name an object: parts of a-z 0-9 . _ - joined by slashes, none starting with a dot."""
    return len(text) <= KEY_LIMIT and _KEY.fullmatch(text) is not None


def check_key(text: str) -> None:
    """Raise RefusedError where `text` may not name an object."""
    if not is_key(text):
        raise RefusedError(
            f"{text!r} cannot name an object: expected at most {KEY_LIMIT} characters, parts of a-z 0-9 . _ - "
            "joined by single slashes, none starting with a dot and none over 100 characters. Choose another name."
        )


def check_alive(key: str) -> None:
    """Raise RefusedError where `key` is no place for a sign of life: everything else is written once."""
    check_key(key)
    if not key.startswith(ALIVE_PREFIX):
        raise RefusedError(f"{key} is no place for a sign of life: those lie under {ALIVE_PREFIX}")


def object_key(digest: Digest) -> str:
    """Return where the bytes named by `digest` lie."""
    return f"{DIGEST_PREFIX}{digest[:2]}/{digest}"


def entry_key(sequence: int) -> str:
    """Return where entry `sequence` lies; ten figures, so that the order of names is the order of entries."""
    return f"{ENTRY_PREFIX}{sequence:010d}"


def bundle_key(first: int, count: int) -> str:
    """Return where the bundle of `count` entries from `first` lies."""
    return f"{BUNDLE_PREFIX}{first:010d}-{count}"


def alive_key(job: str, epoch: int) -> str:
    """Return where the signs of life of a claim lie."""
    return f"{ALIVE_PREFIX}{digest_of(job.encode())[:32]}-{epoch}"
