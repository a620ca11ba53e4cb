"""Frames of a reel and numbers of a scan's files, as people write and read them."""

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from relay.errors import MissingError, RefusedError
from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.model import FrameRange, ScanMap, frame_count
from relay.settings import first_fault
from relay.wording import count, in_words

_MARK = re.compile(r"([0-9]{1,10})(?:=(-?[0-9]{1,10}))?")


def parse_start_mark(text: str) -> ScanMap:
    """Return the scan map that `86400` or `86400=16` means. Raises RefusedError."""
    found = _MARK.fullmatch(text.strip())
    if not found:
        raise RefusedError(
            f"{text!r} is no start mark: expected the file's number, such as 86400, or 86400=16 for frame 16"
        )
    return ScanMap.start_mark(int(found[1]), int(found[2] or 0))


def read_scan_map(path: Path) -> ScanMap:
    """Return the scan map in a TOML file of `[[segments]]` with `scan`, `reel` and `count`. Raises RefusedError."""
    table: dict[str, object] = {}
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        return ScanMap.model_validate(table)
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the scan map's TOML file") from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(
            f"{path} is no scan map: {first_fault(error, table)}. Expected [[segments]] with scan, reel and count"
        ) from error


def pairs_of(frames: Sequence[FrameRange]) -> list[list[int]]:
    """Return ranges of frames as scripts read them."""
    return [[each.first, each.last] for each in frames]


def counted(frames: Sequence[FrameRange], gauge: str) -> str:
    """Return how many frames these are, which, and from which footage to which."""
    ends = " to ".join(format_footage(at, parse_gauge(gauge)) for at in (frames[0].first, frames[-1].last))
    return f"{count(frame_count(frames), 'frame')}: {in_words(frames)} ({ends})"
