"""A site's own copy of the ledger, and its memory of the last head it saw.

Two files in the site's home: `entries`, the exact bytes of every entry this site has checked, end to end, and `head`,
which entry was last and its digest. The head is written before the site acts on what it read, so a bucket that later
shows less, or another history, is noticed. A damaged `entries` costs one more download; `head` is never thrown away.
"""

import fcntl
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from relay.errors import BrokenError, RefusedError
from relay.ledger.entry import NO_ENTRY
from relay.ledger.history import split_bundle
from relay.model import Digest, DigestField, Frozen, digest_of
from relay.store.folder import opened, sync


class Head(Frozen):
    """The last entry that was seen, and how many bytes of `entries` lead up to it."""

    sequence: Annotated[int, Field(ge=-1)]
    digest: DigestField
    length: Annotated[int, Field(ge=0)]


NO_HEAD = Head(sequence=-1, digest=NO_ENTRY, length=0)


class LocalCopy:
    """The two files. Safe for several processes of one site."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._entries = folder / "entries"
        self._head = folder / "head"

    def head(self) -> Head:
        """Return the last head this site saw. Raises BrokenError when the memory of it is unreadable."""
        try:
            return Head.model_validate_json(self._head.read_bytes())
        except FileNotFoundError:
            return NO_HEAD
        except (ValidationError, OSError) as error:
            raise BrokenError(
                f"{self._head} cannot be read, so a bucket that was rolled back would go unnoticed: "
                "compare `relay ledger show` with another site, then remove the file"
            ) from error

    def entries(self) -> list[bytes]:
        """Return the bytes of each entry up to the head; nothing where the copy is damaged or shorter than that."""
        if not self._entries.exists():
            return []
        try:
            with self._locked():
                return self._whole_entries()
        except OSError:
            return []

    def _whole_entries(self) -> list[bytes]:
        head = self.head()
        with self._entries.open("rb") as file:
            raws = split_bundle(file.read(head.length))
        if len(raws) == head.sequence + 1 and (not raws or digest_of(raws[-1]) == head.digest):
            return raws
        self._entries.unlink()  # or it would be taken for whole by its length
        return []

    def drop_entries(self) -> None:
        """Forget the entries, which turned out to be damaged, but not the head."""
        with self._locked():
            self._entries.unlink(missing_ok=True)

    def keep(self, raws: Sequence[bytes]) -> bool:
        """Remember `raws`, the bytes of every entry from 0 on, and the last of them as the head.

        False: another process of this site has seen more, and its head stays. Raises BrokenError when this site has
        seen another entry in one of those places.
        """
        try:
            with self._locked():
                return self._keep(raws)
        except OSError as error:
            raise RefusedError(
                f"this site's copy of the ledger in {self.folder} cannot be written ({error.strerror}): "
                "free some space or mend the permissions, then run this again; nothing was lost"
            ) from error

    def _keep(self, raws: Sequence[bytes]) -> bool:
        head = self.head()
        if 0 <= head.sequence < len(raws):
            check_same(head, digest_of(raws[head.sequence]))
        whole = not head.length or (self._entries.exists() and self._entries.stat().st_size >= head.length)
        if len(raws) > head.sequence + 1 or (len(raws) == head.sequence + 1 and not whole):
            self._write(raws, head if whole else NO_HEAD)
        return len(raws) > head.sequence

    def _write(self, raws: Sequence[bytes], after: Head) -> None:
        added = b"".join(raws[after.sequence + 1 :])
        with self._entries.open("r+b" if after.length else "w+b") as file:
            file.truncate(after.length)
            file.seek(after.length)
            file.write(added)
            file.flush()
            os.fsync(file.fileno())
        self._write_head(Head(sequence=len(raws) - 1, digest=digest_of(raws[-1]), length=after.length + len(added)))

    def _write_head(self, head: Head) -> None:
        fresh = self._head.with_suffix(".new")
        with fresh.open("wb") as file:
            file.write(head.model_dump_json().encode())
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._head)
        with opened(self.folder) as folder:
            sync(folder)  # or a power cut could bring the old head back

    @contextmanager
    def _locked(self) -> Iterator[None]:
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / "lock").open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield


def check_same(head: Head, found: Digest) -> None:
    """Raise BrokenError unless the bucket still shows the head that this site remembers."""
    if found != head.digest:
        raise BrokenError(
            f"the bucket shows another entry {head.sequence} than this site saw before ({found[:16]}... instead of "
            f"{head.digest[:16]}...): its history was changed. Nothing was done; call the coordinator"
        )
