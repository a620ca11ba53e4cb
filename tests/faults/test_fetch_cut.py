"""A line that is cut in the middle of objects: the fetch goes on by itself, or says so and goes on when run again."""

import hashlib
from collections import Counter
from pathlib import Path

import pytest

from relay.errors import TransientError
from relay.media.manifest import WHOLE_LIMIT, Chunk, Manifest, PackedFile, chunk_sizes
from relay.model import Digest
from relay.store.keys import object_key
from relay.store.port import Store
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from relay.transfer.fetch import fetch
from relay.transfer.notebook import Notebook
from relay.transfer.verify import verify
from tests.faults.fetch_house import Failing, hidden_in, sha256, unharmed
from tests.servers.cutting import CuttingProxy
from tests.servers.s3 import S3Server


def laid_out(store: Store, size: int) -> Manifest:
    """Lay a file of `size` bytes into `store`, chunk by chunk, no two of which are alike."""
    chunks, whole = [], hashlib.sha256()
    for number, length in enumerate(chunk_sizes(size)):
        body = number.to_bytes(8, "big") + bytes(length - 8)
        chunks.append(Chunk(sha256(body), length))
        store.create(object_key(chunks[-1].digest), body, chunks[-1].digest)
        whole.update(body)
    return Manifest.of([PackedFile("mix.wav", size, Digest(whole.hexdigest()), tuple(chunks))])


def reached(server: S3Server, bucket: str, tries: int) -> S3Store:
    keys = Keys(server.access_key, server.secret_key)
    return S3Store(bucket, "film", endpoint=server.endpoint, region="us-east-1", keys=keys, tries=tries)


def fetched_through_cuts(server: S3Server, base: Path, size: int, cuts: int, *, tries: int) -> tuple[int, Counter[str]]:
    """Fetch through a line that is cut again and again; return in how many runs, and how often each object was read."""
    bucket = server.bucket()
    manifest = laid_out(reached(server, bucket, 3), size)
    with CuttingProxy(server) as line, Notebook(base / "notes") as notebook:
        line.cut_at_random(cuts, size, seed=cuts)
        store = Failing(reached(line, bucket, tries), unharmed)
        runs = 1
        while not is_fetched(manifest, store, base / "arrived", notebook):
            runs += 1
        assert line.cuts == cuts
    assert verify(base / "arrived", manifest) == []
    assert hidden_in(base) == []
    return runs, store.reads


def is_fetched(manifest: Manifest, store: Store, target: Path, notebook: Notebook) -> bool:
    try:
        done = fetch(manifest, store, target, notebook, hands=1)  # on one connection: a cut strikes one object
    except TransientError:
        assert not target.exists()
        return False
    return done.whole


@pytest.mark.seaweedfs
def test_a_fetch_goes_on_by_itself_when_the_line_is_cut(tmp_path, seaweedfs):
    runs, reads = fetched_through_cuts(seaweedfs, tmp_path, WHOLE_LIMIT + 1000, cuts=4, tries=6)
    assert runs == 1
    assert set(reads.values()) == {1}  # what the store's own second try fetched again is one object a cut


@pytest.mark.seaweedfs
def test_a_fetch_that_gives_up_at_a_cut_fetches_at_most_one_object_again(tmp_path, seaweedfs):
    runs, reads = fetched_through_cuts(seaweedfs, tmp_path, WHOLE_LIMIT + 1000, cuts=6, tries=1)
    assert runs > 1
    assert reads.total() - len(reads) <= 6


@pytest.mark.soak
@pytest.mark.seaweedfs
@pytest.mark.parametrize("tries", [1, 6])
def test_2_gb_through_100_cuts_fetch_at_most_one_object_again_each(tmp_path, seaweedfs, tries):
    runs, reads = fetched_through_cuts(seaweedfs, tmp_path, 2**31, cuts=100, tries=tries)
    again = reads.total() - len(reads)
    print(f"2 GB through 100 cuts, {tries} tries: {runs} runs, {again} of {len(reads)} objects read again")
    assert again <= 100
