"""How people write what ties a scan's file numbers to a reel's frames."""

import re
import tomllib
from pathlib import Path

from pydantic import ValidationError

from relay.errors import MissingError, RefusedError
from relay.model import ScanMap
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
    try:
        return ScanMap.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the scan map's TOML file") from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(
            f"{path} is no scan map: {first_fault(error)}. Expected [[segments]] with scan, reel and count"
        ) from error
