"""However long the reel and however large the file, a fetch takes at most 300 MB."""

import subprocess
import sys
from pathlib import Path

import pytest

from relay.media.manifest import Chunk, Manifest, PackedFile, chunk_sizes
from relay.store.keys import object_key
from relay.store.port import Store
from tests.faults.fetch_house import sha256
from tests.faults.send_child import store_of

MOST = 300_000_000  # bytes
FRAME = 12_748_800  # bytes: 2048x1556, 10 bits, see REFERENCES
ROOT = Path(__file__).parents[2]


def objects_of(store: Store, marks: range, sizes: tuple[int, ...]) -> tuple[Chunk, ...]:
    """Lay objects of those sizes into `store`, each with a mark of its own."""
    found = []
    for mark, size in zip(marks, sizes, strict=True):
        body = mark.to_bytes(8, "big") + bytes(size - 8)
        found.append(Chunk(sha256(body), size))
        store.create(object_key(found[-1].digest), body, found[-1].digest)
    return tuple(found)


def reel(store: Store, count: int) -> list[PackedFile]:
    frames = objects_of(store, range(count), (FRAME,) * count)
    return [PackedFile(f"frames/A_R01.{n:07d}.dpx", FRAME, frame.digest) for n, frame in enumerate(frames)]


def large(store: Store, size: int) -> PackedFile:
    sizes = chunk_sizes(size)
    # Its own digest is not looked at by a fetch, which verifies the chunks.
    return PackedFile("mix.wav", size, sha256(b""), objects_of(store, range(10**6, 10**6 + len(sizes)), sizes))


def memory_to_fetch(base: Path, files: list[PackedFile], where: list[str]) -> int:
    """Return the most bytes of memory that it took, once all was fetched."""
    manifest = Manifest.of(files)
    (base / "manifest").write_bytes(manifest.encode())
    places = [base / "manifest", base / "arrived", base / "notes"]
    command = [sys.executable, "-m", "tests.faults.fetch_memory", *places, *where]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    fetched, most = map(int, done.stdout.split())
    assert fetched == sum(size for size in manifest.objects().values())
    print(f"{len(files)} files, {fetched / 1e9:.1f} GB: {most / 1e6:.0f} MB at most")
    return most


@pytest.mark.parametrize("count", [12, 40])
def test_a_long_reel_takes_no_more_memory_than_a_short_one(tmp_path, count):
    where = ["directory", str(tmp_path / "bucket")]
    assert memory_to_fetch(tmp_path, reel(store_of(*where), count), where) < MOST


@pytest.mark.soak
def test_a_reel_and_a_file_of_2_gb_take_no_more_memory(tmp_path):
    where = ["directory", str(tmp_path / "bucket")]
    store = store_of(*where)
    assert memory_to_fetch(tmp_path, [*reel(store, 160), large(store, 2**31)], where) < MOST


@pytest.mark.soak
@pytest.mark.seaweedfs
def test_a_reel_and_a_file_of_2_gb_from_a_real_server_take_no_more_memory(tmp_path, seaweedfs):
    where = ["s3", seaweedfs.bucket(), seaweedfs.endpoint, seaweedfs.access_key, seaweedfs.secret_key]
    store = store_of(*where)
    assert memory_to_fetch(tmp_path, [*reel(store, 60), large(store, 2**31)], where) < MOST
