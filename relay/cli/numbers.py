"""Frames of a reel and numbers of a scan's files, as people write and read them."""

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from relay.cli.answer import count
from relay.errors import MissingError, RefusedError
from relay.film.footage import format_footage
from relay.film.gauges import parse_gauge
from relay.media.manifest import Manifest
from relay.media.sequence import picture_of
from relay.model import FrameRange, ScanMap, ranges_of
from relay.settings import first_fault

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


def frames_in(manifest: Manifest, scan_map: ScanMap | None) -> tuple[FrameRange, ...]:
    """Return which of the reel's frames a version holds; none where its files are not tied to the reel."""
    picture = picture_of(manifest) if scan_map else None
    if picture is None or scan_map is None:
        return ()
    frames = (scan_map.reel_frame(number) for number in picture.numbers())
    return ranges_of({frame for frame in frames if frame is not None})


def pairs_of(frames: Sequence[FrameRange]) -> list[list[int]]:
    """Return ranges of frames as scripts read them."""
    return [[each.first, each.last] for each in frames]


def counted(frames: Sequence[FrameRange], gauge: str) -> str:
    """Return how many frames these are, which, and from which footage to which."""
    number = sum(each.last - each.first + 1 for each in frames)
    ends = " to ".join(format_footage(at, parse_gauge(gauge)) for at in (frames[0].first, frames[-1].last))
    return f"{count(number, 'frame')}: {in_words(frames)} ({ends})"


def in_words(frames: Sequence[FrameRange], most: int = 12) -> str:
    """Return ranges of frames as people write them; the last ones counted where there are many."""
    shown = ", ".join(_range(each) for each in frames[:most])
    return shown + (f" and {len(frames) - most} more ranges" if len(frames) > most else "") if frames else "none"


def _range(frames: FrameRange) -> str:
    return f"{frames.first} to {frames.last}" if frames.first < 0 and frames.first < frames.last else str(frames)
