"""Everything that lies under a folder, without following a link, and how to read a piece of a file there."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

READ = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
"""How a file is opened whose name someone else may have filled: never through a link, never waiting at a pipe."""


def tree(folder: Path) -> Iterator[tuple[str, os.stat_result]]:
    """Yield the path of everything under `folder`, with its status; a folder before what it holds."""
    waiting = [""]
    while waiting:
        prefix = waiting.pop()
        with os.scandir(folder / prefix) as entries:
            for entry in entries:
                path, status = prefix + entry.name, entry.stat(follow_symlinks=False)
                yield path, status
                if stat.S_ISDIR(status.st_mode):
                    waiting.append(f"{path}/")


def folders_above(path: str) -> Iterator[str]:
    """Yield the folders that the file at `path` lies in, the nearest first."""
    while path := path.rpartition("/")[0]:
        yield path


def pread_into(descriptor: int, buffer: memoryview, offset: int) -> int:
    """Fill `buffer` from `offset` bytes on, and return how much of it is filled; less only at the file's end."""
    done = 0
    while done < len(buffer) and (count := os.preadv(descriptor, [buffer[done:]], offset + done)):
        done += count
    return done


def pwrite_all(descriptor: int, body: memoryview, offset: int) -> None:
    """Write all of `body` from `offset` bytes on."""
    done = 0
    while done < len(body):
        done += os.pwrite(descriptor, body[done:], offset + done)
