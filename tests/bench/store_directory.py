"""What durability costs a folder: creating small files with every sync, and with none, for comparison only.

    python -m tests.bench.store_directory [FOLDER] [--objects 4000] [--size 65536] [--rounds 3]

A create syncs the file before it gets its name, and the folder after. Many threads share the disk's journal, so their
syncs are done together: what counts is the row with sixteen.
"""

import argparse
import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from relay.model import Digest, digest_of
from relay.store.directory import DirectoryStore
from relay.store.keys import object_key


@contextmanager
def no_syncs() -> Iterator[None]:
    """Let syncs do nothing: what a power cut would make of it is not the question here."""
    real = os.fsync
    os.fsync = lambda _descriptor: None
    try:
        yield
    finally:
        os.fsync = real


def seconds_to_create(root: Path, bodies: list[bytes], digests: list[Digest], threads: int) -> float:
    store = DirectoryStore.founded(root)
    began = time.monotonic()
    with ThreadPoolExecutor(threads) as pool:
        created = pool.map(
            lambda number: store.create(object_key(digests[number]), bodies[number], digests[number]),
            range(len(bodies)),
        )
        assert all(created)
    return time.monotonic() - began


def seconds_to_read(root: Path, digests: list[Digest], size: int) -> float:
    store = DirectoryStore(root)
    buffer = memoryview(bytearray(size))
    began = time.monotonic()
    for digest in digests:
        assert store.read_into(object_key(digest), buffer) == size
    return time.monotonic() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=Path(tempfile.gettempdir()))
    parser.add_argument("--objects", type=int, default=4000)
    parser.add_argument("--size", type=int, default=65_536)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    bodies = [os.urandom(asked.size) for _ in range(asked.objects)]
    digests = [digest_of(body) for body in bodies]
    found: dict[str, list[float]] = {}
    root = Path(tempfile.mkdtemp(dir=asked.folder))
    try:
        for number in range(asked.rounds):
            for threads in (1, 16):
                place = root / f"{number}-{threads}"
                found.setdefault(f"create, {threads:2} threads", []).append(
                    seconds_to_create(place, bodies, digests, threads)
                )
                with no_syncs():
                    bare = seconds_to_create(root / f"{number}-{threads}-bare", bodies, digests, threads)
                found.setdefault(f"create, {threads:2} threads, without syncs", []).append(bare)
            found.setdefault("read back", []).append(seconds_to_read(place, digests, asked.size))
    finally:
        shutil.rmtree(root)
    print(f"{asked.objects} objects of {asked.size} bytes in {asked.folder}, medians of {asked.rounds}, seconds")
    for what, times in found.items():
        print(f"{what:36} {statistics.median(times):6.2f}")


if __name__ == "__main__":
    main()
