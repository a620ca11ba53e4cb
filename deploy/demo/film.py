"""Writes what the demo's sites hand over: scans of three worn prints of a film that never was, and a graded reel.

A scan is a folder of 10-bit DPX files, one a frame, named by the frame's number in the scan: `start` for frame 0 of the
reel, and so on. A frame that a print lacks leaves its number out. Everything is drawn from a seed, so the same call
writes the same bytes.
"""

import shutil
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from deploy.demo.dpx import FilmFrame, write_dpx
from deploy.demo.reels import (
    FRAMES_PER_SECOND,
    NO_SPLICE,
    PRINTS,
    TITLE,
    Shot,
    decay_at,
    frames_lost,
    frames_spoiled,
    shots,
    since_splice,
)
from deploy.demo.scenes import iris
from deploy.demo.wear import Place, Size, scanned

SIZE: Size = (768, 584)
START = 86400
RESCAN_START = 172800
_HANDS = 2
_FIRST_SCAN = datetime(2027, 1, 11, 9, tzinfo=UTC)


@dataclass(frozen=True)
class Scan:
    """One pass of a print's reel through the scanner. `decay_left` is the part of the decay that still shows."""

    print_name: str
    reel: int
    frames: int
    size: Size = SIZE
    start: int = START
    wet_gate: bool = False
    steadied: bool = False
    decay_left: float = 1.0

    def file_name(self, frame: int) -> str:
        return f"quillmark_{self.print_name.lower()}_r{self.reel:02d}.{self.start + frame:07d}.dpx"


def write_scan(
    folder: Path, print_name: str, reel: int, frames: int, *, size: Size = SIZE, start: int = START
) -> list[int]:
    """Write a dry scan of `reel` into `folder` and return the frames it lacks, as numbers in the reel."""
    lost = frames_lost(print_name, reel, frames)
    _write(folder, Scan(print_name, reel, frames, size, start), set(range(frames)) - set(lost))
    return lost


def write_rescan(
    folder: Path, print_name: str, reel: int, frames: int, *, size: Size = SIZE, start: int = RESCAN_START
) -> list[int]:
    """Write a later scan, through a wet gate and with another start mark, and return the frames that it betters.

    Spoiled frames come out steady and less eaten, and one frame that the first scan lacks was found loose in the can.
    """
    found, *lost = frames_lost(print_name, reel, frames)
    scan = Scan(print_name, reel, frames, size, start, wet_gate=True, steadied=True, decay_left=0.55)
    _write(folder, scan, set(range(frames)) - set(lost))
    return sorted([found, *frames_spoiled(print_name, reel, frames)])


def write_edit(
    folder: Path,
    scan_folder: Path,
    print_name: str,
    reel: int,
    frames: int,
    *,
    size: Size = SIZE,
    start: int = START,
) -> list[int]:
    """Write what the grading site hands back for the scan in `scan_folder` and return the frames that it changed.

    Spoiled frames are mended; every other file is the scan's, byte for byte.
    """
    shutil.copytree(scan_folder, folder, dirs_exist_ok=True)
    mended = frames_spoiled(print_name, reel, frames)
    scan = Scan(print_name, reel, frames, size, start, wet_gate=True, steadied=True, decay_left=0.0)
    _write(folder, scan, mended)
    return mended


def _write(folder: Path, scan: Scan, kept: Iterable[int]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with ThreadPoolExecutor(_HANDS) as pool:
        for _ in pool.map(partial(_write_frame, folder, scan, shots(scan.reel, scan.frames)), sorted(kept)):
            pass


def _write_frame(folder: Path, scan: Scan, cut: list[Shot], frame: int) -> None:
    write_dpx(folder / scan.file_name(frame), picture_of(scan, cut, frame), _header_of(scan, frame))


def picture_of(scan: Scan, cut: list[Shot], frame: int) -> NDArray[np.uint16]:
    """Return the scanned `frame` of the reel, red, green and blue by rows by columns, in codes from 0 to 1023."""
    number, shot = next((n, s) for n, s in enumerate(cut) if frame < s.first + s.length)
    drawn = shot.scene((frame - shot.first) / FRAMES_PER_SECOND, np.random.default_rng([scan.reel, number]))
    if number == len(cut) - 1:
        iris(drawn, 1 - 1.15 * max(0.0, (frame - shot.first) / shot.length - 0.5))
    print_ = PRINTS[scan.print_name]
    codes = scanned(drawn.tones, print_.wear, _place(scan, frame), scan.size).astype(np.int16)
    dyes = shot.tint if print_.tinted else (0, 0, 0)
    return np.stack([np.clip(codes - dye, 0, 1023) for dye in dyes]).astype(np.uint16)


def _place(scan: Scan, frame: int) -> Place:
    lost = frames_lost(scan.print_name, scan.reel, scan.frames)
    return Place(
        seed=(ord(scan.print_name), scan.reel),
        frame=frame,
        since_splice=NO_SPLICE if scan.steadied else since_splice(lost, frame),
        decay=decay_at(scan.print_name, scan.reel, scan.frames, frame) * scan.decay_left,
        wet_gate=scan.wet_gate,
    )


def _header_of(scan: Scan, frame: int) -> FilmFrame:
    element = f"{scan.print_name} R{scan.reel:02d}"
    return FilmFrame(
        position=frame,
        length=scan.frames,
        frames_per_second=FRAMES_PER_SECOND,
        frame_id=f"{element} {frame:06d}",
        slate=f"{TITLE} {element} {'wet' if scan.wet_gate else 'dry'} gate, start mark {scan.start}",
        film_format=PRINTS[scan.print_name].film_format,
        project=TITLE,
        device="invented film scanner",
        scanned=_FIRST_SCAN + timedelta(days=scan.reel, seconds=frame),
    )
