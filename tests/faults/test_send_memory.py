"""However long the reel and however large the file, a send takes at most 300 MB."""

import subprocess
import sys
from pathlib import Path

import pytest

from relay.media.manifest import CHUNK_SIZE

MOST = 300_000_000  # bytes
FRAME = 12_748_800  # bytes: 2048x1556, 10 bits, see REFERENCES
ROOT = Path(__file__).parents[2]


def sparse(path: Path, size: int, mark: int) -> None:
    """Write a file that takes no room, unlike any other, no two chunks of which are alike."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(size)
        for place in range(0, size, CHUNK_SIZE):
            file.seek(place)
            file.write((place + mark).to_bytes(8, "big"))


def frames(folder: Path, count: int) -> Path:
    for number in range(count):
        sparse(folder / "frames" / f"A_R01.{number:07d}.dpx", FRAME, number)
    return folder


def memory_to_send(folder: Path, notes: Path, *where: str) -> int:
    """Return the most bytes of memory that it took, once all was sent."""
    command = [sys.executable, "-m", "tests.faults.send_memory", folder, notes, *where]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    files, sent, most = map(int, done.stdout.split())
    paths = [path for path in folder.rglob("*") if path.is_file()]
    assert files == len(paths)
    assert sent > sum(path.stat().st_size for path in paths)
    print(f"{files} files, {sent / 1e9:.1f} GB: {most / 1e6:.0f} MB at most")
    return most


@pytest.mark.parametrize("count", [20, 60])
def test_a_long_reel_takes_no_more_memory_than_a_short_one(tmp_path, count):
    assert memory_to_send(frames(tmp_path / "reel", count), tmp_path / "notes", "nowhere") < MOST


def test_a_file_of_2_gb_takes_no_more_memory_than_a_frame(tmp_path):
    sparse(tmp_path / "reel" / "mix.wav", 2**31, 0)
    assert memory_to_send(tmp_path / "reel", tmp_path / "notes", "nowhere") < MOST


@pytest.mark.soak
def test_a_reel_of_16000_frames_takes_no_more_memory(tmp_path):
    assert memory_to_send(frames(tmp_path / "reel", 16_000), tmp_path / "notes", "nowhere") < MOST


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_frames_and_a_file_of_2_gb_sent_to_a_real_server_take_no_more_memory(tmp_path, seaweedfs):
    folder = frames(tmp_path / "reel", 60)
    sparse(folder / "mix.wav", 2**31, 0)
    where = ["s3", seaweedfs.bucket(), seaweedfs.endpoint, seaweedfs.access_key, seaweedfs.secret_key]
    assert memory_to_send(folder, tmp_path / "notes", *where) < MOST
