"""What lies in a folder that people work in: its files and their stamps. Nothing is ever written there."""

import errno
import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple, Self

from relay.errors import BrokenError, MissingError, RefusedError, RelayError
from relay.media.names import is_litter, is_ours
from relay.transfer.notebook import Stamp, stamp_of
from relay.transfer.tree import READ, pread_into

_NAMED_AT_MOST = 5  # files in one sentence

_KINDS = {
    stat.S_IFLNK: "a link",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFBLK: "a device",
    stat.S_IFCHR: "a device",
    stat.S_IFDIR: "a folder",
}


class Survey(NamedTuple):
    """The regular files under a folder, by path with `/` between the parts, and what is no part of a package."""

    files: dict[str, Stamp]
    left_out: tuple[str, ...]
    """Files that file browsers write by themselves; our own hidden ones are not even mentioned."""


def survey(folder: Path) -> Survey:
    """Look at every file under `folder` once. Raises RefusedError naming whatever is neither file nor folder."""
    if not folder.is_dir():
        raise MissingError(f"{folder} is not a folder: name the folder that holds the package")
    files: dict[str, Stamp] = {}
    left_out: list[str] = []
    waiting = [("", str(folder))]
    while waiting:
        prefix, place = waiting.pop()
        for entry in _entries(place):
            path = prefix + entry.name
            if is_ours(entry.name):
                continue
            if is_litter(entry.name):
                left_out.append(path)
            elif entry.is_dir(follow_symlinks=False):
                waiting.append((f"{path}/", entry.path))
            else:
                files[path] = _stamp(entry)
    return Survey(files, tuple(sorted(left_out)))


def _entries(place: str) -> list[os.DirEntry[str]]:
    with reading(place), os.scandir(place) as entries:
        return list(entries)


def _stamp(entry: os.DirEntry[str]) -> Stamp:
    try:
        status = entry.stat(follow_symlinks=False)
    except OSError as fault:
        raise _unreadable(entry.path, fault) from fault
    _check_regular(entry.path, status)
    return stamp_of(status)


def _check_regular(path: str, status: os.stat_result) -> None:
    kind = stat.S_IFMT(status.st_mode)
    if kind != stat.S_IFREG:
        raise RefusedError(
            f"{path!r} is {_KINDS.get(kind, 'something else')}, expected a file: "
            "a package holds files and folders only; take it out, or put the file itself there"
        )


class reading:  # noqa: N801  used as a verb: `with reading(path)`; a generator would cost more than the call
    """Say what it means when the system cannot read `path`."""

    def __init__(self, path: str) -> None:
        self._path = path

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, fault: BaseException | None, trace: object) -> None:
        if isinstance(fault, OSError):
            raise _unreadable(self._path, fault) from fault


def _unreadable(path: str, fault: OSError) -> RelayError:
    if isinstance(fault, FileNotFoundError):
        return _changed([path], "vanished")
    if isinstance(fault, PermissionError):
        return RefusedError(f"{path!r} may not be read by this user: give the right to read it, then send again")
    if fault.errno == errno.EIO:
        return BrokenError(f"the disk could not give back {path!r} ({fault.strerror}): look after the disk")
    if fault.errno == errno.ELOOP:
        return _changed([path], "became a link while it was being sent")
    return RefusedError(f"{path!r} cannot be read ({fault.strerror}): see what is there, then send again")


class OpenFile:
    """A file that is being read, and that must stay as it was when the folder was surveyed."""

    def __init__(self, path: str, expected: Stamp) -> None:
        self.path = path
        self._expected = expected
        with reading(path):
            self._handle = os.open(path, READ)

    def __enter__(self) -> Self:
        try:
            self.check_unchanged()
        except BaseException:
            os.close(self._handle)
            raise
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._handle)

    def check_unchanged(self) -> None:
        """Refuse the file if anything about it moved since the survey."""
        with reading(self.path):
            status = os.fstat(self._handle)
        _check_regular(self.path, status)
        if stamp_of(status) != self._expected:
            raise _changed([self.path], "changed while it was being sent")

    def fill(self, buffer: memoryview, offset: int = 0) -> None:
        """Read as many bytes as `buffer` holds, from `offset` on."""
        with reading(self.path):
            filled = pread_into(self._handle, buffer, offset)
        if filled < len(buffer):
            raise _changed([self.path], "became shorter while it was being sent")


def check_unmoved(folder: Path, before: Mapping[str, Stamp]) -> None:
    """Refuse if any file under `folder` appeared, vanished or changed since `before`."""
    now = survey(folder).files
    if now == before:
        return
    for paths, what in (
        (
            [path for path in before if path in now and now[path] != before[path]],
            "changed while the rest was being sent",
        ),
        ([path for path in before if path not in now], "vanished"),
        ([path for path in now if path not in before], "appeared while the rest was being sent"),
    ):
        if paths:
            raise _changed(sorted(paths), what)


def _changed(paths: list[str], what: str) -> RefusedError:
    named = ", ".join(map(repr, paths[:_NAMED_AT_MOST]))
    more = f" and {len(paths) - _NAMED_AT_MOST} more" if len(paths) > _NAMED_AT_MOST else ""
    return RefusedError(
        f"{named}{more} {what}; nothing was handed over. Is somebody still writing there? "
        "Send again when the folder is finished"
    )
