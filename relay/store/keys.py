"""What an object is called in the bucket. See docs/FORMAT.md."""

from relay.model import Digest

DIGEST_PREFIX = "by-digest/"
ENTRY_PREFIX = "entries/"
BUNDLE_PREFIX = "bundles/"
PROBE_PREFIX = "probe/"


def object_key(digest: Digest) -> str:
    """Return where the bytes named by `digest` lie."""
    return f"{DIGEST_PREFIX}{digest[:2]}/{digest}"


def entry_key(sequence: int) -> str:
    """Return where entry `sequence` lies; ten figures, so that the order of names is the order of entries."""
    return f"{ENTRY_PREFIX}{sequence:010d}"


def bundle_key(first: int, count: int) -> str:
    """Return where the bundle of `count` entries from `first` lies."""
    return f"{BUNDLE_PREFIX}{first:010d}-{count}"
