"""What is wrong with a package: one line for each bad file, as a receipt lists them."""

from enum import StrEnum
from typing import NamedTuple

from relay.model import Digest


class Where(StrEnum):
    """Where wrong bytes were found."""

    BUCKET = "bucket"
    """In the store: every site that reads the object gets the same."""
    ARRIVAL = "arrival"
    """Here, or on the way here: what lies in the store may well be whole."""


class What(StrEnum):
    """In which way a file is wrong."""

    CHANGED = "changed"
    MISSING = "missing"
    EXTRA = "extra"
    NOT_A_FILE = "not a file"


class Fault(NamedTuple):
    """One file that is not as the manifest says."""

    path: str
    what: What
    where: Where
    expected: Digest | None = None
    """The SHA-256 of the object, which is the file or one chunk of it; None for a file that is none of the package."""
    found: Digest | None = None
    """None where there was nothing to hash."""
    detail: str = ""

    def __str__(self) -> str:
        found = f", found SHA-256 {self.found}" if self.found else ""
        expected = f", expected {self.expected}" if self.expected else ""
        detail = f" ({self.detail})" if self.detail else ""
        place = "the bucket" if self.where is Where.BUCKET else "what arrived"
        return f"{self.path}: {self.what} in {place}{found}{expected}{detail}"
