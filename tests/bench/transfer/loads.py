"""What is sent and fetched: a reel of frames, many small files, one large file. Contents are noise, from a seed."""

import random
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

FRAME = 12_748_800  # bytes: 2048 x 1556, 10 bit, data at 2048 (REFERENCES section 2)
SMALL = 64 * 1024  # bytes
LARGE = 2_000_000_000  # bytes


class Load(NamedTuple):
    """A folder to be carried."""

    name: str
    title: str
    fill: Callable[[Path], None]


def _numbered(count: int, size: int, seed: int) -> Callable[[Path], None]:
    def fill(folder: Path) -> None:
        frames = folder / "frames"
        frames.mkdir(parents=True)
        rng = random.Random(seed)
        for number in range(count):
            (frames / f"A_R01.{86400 + number:07d}.dpx").write_bytes(rng.randbytes(size))

    return fill


def _large(folder: Path) -> None:
    (folder / "sound").mkdir(parents=True)
    rng = random.Random(3)
    with (folder / "sound" / "mix.wav").open("wb") as file:
        for start in range(0, LARGE, FRAME):
            file.write(rng.randbytes(min(FRAME, LARGE - start)))


FRAMES = Load("frames", "160 frames of 12.75 MB", _numbered(160, FRAME, 1))
SMALL_FILES = Load("small", "4,000 files of 64 KiB", _numbered(4000, SMALL, 2))
ONE_FILE = Load("large", "one file of 2 GB", _large)
MANY = Load("many", "16,000 frames", _numbered(16_000, 4096, 4))

LOADS = {load.name: load for load in (FRAMES, SMALL_FILES, ONE_FILE)}


def change(folder: Path, percent: int, seed: int) -> int:
    """Put new contents into `percent` of the frames under `folder`; return into how many."""
    frames = sorted(folder.rglob("*.dpx"))
    rng = random.Random(seed)
    chosen = rng.sample(frames, max(1, len(frames) * percent // 100))
    for frame in chosen:
        frame.write_bytes(rng.randbytes(frame.stat().st_size))
    return len(chosen)
