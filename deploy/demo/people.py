"""What the demo's technicians do at their desks, between a claim and to-send/."""

import csv
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from deploy.demo.film import START, write_scan
from deploy.demo.pictures import graded, read_dpx, write_like
from deploy.demo.reels import frames_lost, frames_spoiled
from deploy.demo.sound import write_cue

REEL = 2
FRAMES = 48
SIZE = (384, 292)
CUT_LIST = "cut-list.csv"
Work = Callable[[Path, list[Path]], None]
"""Makes a folder of what arrived."""


class Task(NamedTuple):
    """Whose job it is, and what they make."""

    site: str
    job: str
    work: Work

    @property
    def folder(self) -> str:
        """The folder that is dropped in to-send/: its name says which reel it is."""
        return "_".join(self.job.split("/")[1:])


def _scanned(print_name: str) -> Work:
    def work(folder: Path, _arrived: list[Path]) -> None:
        write_scan(folder, print_name, REEL, FRAMES, size=SIZE)
        (folder / "relay.toml").write_text(f'start_mark = {START}\nnote = "dry scan of print {print_name}"\n')

    return work


def chosen() -> list[tuple[int, str]]:
    """Return for each frame of the programme the print it is taken from: the best that has it, and unspoiled if any is.

    Print A is the sharpest and the only one with its tints, then B, then C.
    """
    return [(frame, _best(frame)) for frame in range(FRAMES)]


def _best(frame: int) -> str:
    having = [name for name in "ABC" if frame not in frames_lost(name, REEL, FRAMES)]
    return next((name for name in having if frame not in frames_spoiled(name, REEL, FRAMES)), having[0])


def _edited(folder: Path, _arrived: list[Path]) -> None:
    """Look at the reference copies, and write down which frame is taken from which print."""
    folder.mkdir(parents=True)
    with (folder / CUT_LIST).open("w", newline="", encoding="utf-8") as file:
        lines = csv.writer(file)
        lines.writerow(["frame", "print"])
        lines.writerows(chosen())


def _graded(folder: Path, arrived: list[Path]) -> None:
    """Lay the reel out by the cut list, from the processed scans, and give all of it one tone."""
    folder.mkdir(parents=True)
    with next(place / CUT_LIST for place in arrived if (place / CUT_LIST).exists()).open(encoding="utf-8") as file:
        cuts = [(int(line["frame"]), line["print"]) for line in csv.DictReader(file)]
    for frame, name in cuts:
        source = _frame_of(arrived, name, frame)
        header, planes = read_dpx(source)
        write_like(folder / f"quillmark_q_r02.{START + frame:07d}.dpx", header, graded(planes, name))


def _frame_of(arrived: list[Path], name: str, frame: int) -> Path:
    return next(place / file for place in arrived if (place / (file := _file(name, frame))).exists())


def _file(name: str, frame: int) -> str:
    return f"quillmark_{name.lower()}_r{REEL:02d}.{START + frame:07d}.dpx"


def _packed(folder: Path, arrived: list[Path]) -> None:
    """Put picture, sound and a sheet for the projectionist together."""
    (picture,) = arrived
    shutil.copytree(picture, folder)
    samples = write_cue(folder / "quillmark_q_r02.wav", FRAMES)
    (folder / "projection.txt").write_text(
        f"The Lamp at Quillmark, reel 2: {FRAMES} frames at 20 frames a second, {samples} samples at 48 kHz.\n"
        "Run the check screening at the speed of the premiere, with the musicians' cue, and say what you saw.\n"
    )


TASKS = (
    Task("halifax", "scan/A/R02", _scanned("A")),
    Task("halifax", "scan/B/R02", _scanned("B")),
    Task("tokyo", "scan/C/R02", _scanned("C")),
    Task("lisbon", "edit/Q/R02", _edited),
    Task("kolkata", "grade/Q/R02", _graded),
    Task("tokyo", "deliver/Q/R02", _packed),
)
