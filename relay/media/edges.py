"""The edge code in frames' headers, and where it goes otherwise than the files' numbers: there the film lacks frames.

Headers are read on the way past, and no picture is decoded. DPX: fields of SMPTE ST 268; OpenEXR: its `keycode`.
"""

import os
import struct
from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from relay.errors import MissingError, RefusedError
from relay.film.edgecode import COUNT_LIMIT, OFFSET_LIMIT, EdgeCode, frame_of
from relay.film.gauges import Gauge
from relay.media.gaps import with_gaps
from relay.media.header import DPX_HEADER, Bytes, exr_attributes, parse_dpx
from relay.media.package import contents_of, kind_of
from relay.model import ScanMap

_HEADS = {"dpx": DPX_HEADER, "exr": 65536}
"""Bytes of a file that its edge code lies within."""


class Edge(NamedTuple):
    """A frame's place on its roll."""

    roll: str
    """Maker, type and prefix: two codes can be compared only within one."""
    code: EdgeCode


class Jump(NamedTuple):
    """Two frames between which the edge code goes otherwise than the files' numbers."""

    before: int
    at: int
    moved: Fraction
    """How many frames the code goes on from `before` to `at`."""

    def lacking(self, limit: int) -> int:
        """Return how many frames, at most `limit`, the film lacks ahead of `at`; 0: that is not what the code says."""
        more = self.moved - (self.at - self.before)
        return int(more) if 0 < more <= limit and more.denominator == 1 else 0


def edge(roll: str, count: int | None, offset: int | None) -> Edge | None:
    """Return what a header's fields say; None where they say nothing that the edge of a film could."""
    if count is None or offset is None or not 0 <= count <= COUNT_LIMIT or not 0 <= offset <= OFFSET_LIMIT:
        return None
    return Edge(roll, EdgeCode(count, offset))


def jumps(edges: Iterable[tuple[int, Edge | None]], gauge: Gauge) -> Iterator[Jump]:
    """Yield where the edge code parts from the files' numbers, within one roll. `gauge` must have an edge code."""
    before: tuple[int, Edge] | None = None
    for number, found in edges:
        if found is None:
            continue
        if before and before[1].roll == found.roll:
            moved = frame_of(found.code, gauge) - frame_of(before[1].code, gauge)
            if moved != number - before[0]:
                yield Jump(before[0], number, moved)
        before = (number, found)


def edge_of(kind: str, head: Bytes) -> Edge | None:
    """Return the edge code in a file's header; None where there is none, or no header that can be read."""
    try:
        if kind == "dpx":
            header = parse_dpx(bytes(head[:DPX_HEADER]))
            return edge(header.edge_roll, header.edge_count, header.edge_offset)
        found = next((value for name, form, value in exr_attributes(head) if (name, form) == _KEY_CODE), None)
        if found is None:
            return None
        maker, film, prefix, count, offset, *_ = struct.unpack("<7i", found)
        return edge(f"{maker:02d}-{film:02d}-{prefix:06d}", count, offset)
    except (ValueError, struct.error, IndexError):
        return None  # an inspection says what is wrong with the file


_KEY_CODE = (b"keyCode", b"keycode")
"""Name and type in OpenEXR's "Standard Attributes": maker, type, prefix, count, offset, and two spacings."""


class EdgeReader:
    """Reads the edge code of a package's frames while they are sent; may be shown them by many threads."""

    def __init__(self, paths: Iterable[str], gauge: Gauge, limit: int) -> None:
        runs = contents_of(paths).runs
        self._gauge = gauge
        self._limit = limit
        self._places = {file.path: number for number, file in runs[0].files} if runs else {}
        self._found: dict[str, Edge | None] = {}

    def look(self, path: str, body: Bytes) -> None:
        """Look at a file whose beginning is at hand."""
        if path in self._places and (kind := kind_of(path)) in _HEADS:
            self._found[path] = edge_of(kind, body)

    def read_rest(self, folder: Path) -> None:
        """Read the headers, and no more, of frames that were not shown. Raises MissingError, RefusedError."""
        for path in self._places:
            if path not in self._found and (size := _HEADS.get(kind_of(path))):
                self.look(path, _head(folder / path, size))

    def on_reel(self, scan_map: ScanMap) -> ScanMap:
        """Return a start mark's map with the gaps that the edge code shows."""
        edges = ((number, self._found.get(path)) for path, number in self._places.items())
        gaps = [(jump.at, jump.lacking(self._limit)) for jump in jumps(edges, self._gauge)]
        return with_gaps(scan_map, min(self._places.values(), default=0), [gap for gap in gaps if gap[1]])


def _head(path: Path, size: int) -> bytes:
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError as error:
        raise MissingError(f"{path} vanished while it was sent: send the folder again") from error
    except OSError as error:
        raise RefusedError(f"{path} cannot be read ({error.strerror}): see what is there") from error
    try:
        return os.pread(handle, size, 0)
    finally:
        os.close(handle)
