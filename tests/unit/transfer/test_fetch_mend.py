"""Objects put right from a good copy: only those that are wrong, and only with bytes that are right."""

import pytest

from relay.errors import BrokenError, LostRaceError, RefusedError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT
from relay.model import digest_of
from relay.store.directory import DirectoryStore
from relay.store.keys import object_key
from relay.transfer.faults import Fault, What, Where
from relay.transfer.fetch import fetch
from relay.transfer.mend import Mended, mend
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import MemoryStore
from tests.faults.fetch_house import stored
from tests.faults.send_house import lay_out

FILES = {"a.dpx": b"frame a", "b.dpx": b"frame b", "c.dpx": b"frame c"}


def fault_of(path: str) -> Fault:
    return Fault(path, What.CHANGED, Where.BUCKET, digest_of(FILES[path]))


def key_of(path: str) -> str:
    return object_key(digest_of(FILES[path]))


@pytest.fixture
def good(tmp_path):
    return lay_out(tmp_path / "good", FILES)


@pytest.fixture
def store():
    return MemoryStore()


def test_a_wrong_object_is_replaced_and_what_lay_there_is_told(store, good):
    manifest = stored(store, FILES)
    store._objects[key_of("a.dpx")] = b"frame A"
    assert mend(store, manifest, good, [fault_of("a.dpx")]) == [
        Mended("a.dpx", digest_of(b"frame a"), digest_of(b"frame A"))
    ]
    assert store.read(key_of("a.dpx")) == b"frame a"


def test_a_missing_object_is_put_back(store, good):
    manifest = stored(store, FILES)
    store.discard(key_of("b.dpx"))
    assert mend(store, manifest, good, [fault_of("b.dpx")]) == [Mended("b.dpx", digest_of(b"frame b"), None)]
    assert store.read(key_of("b.dpx")) == b"frame b"


def test_an_object_that_is_whole_is_left_alone_whatever_is_said_of_it(store, good):
    manifest = stored(store, FILES)
    before = dict(store._objects)
    (good / "a.dpx").write_bytes(b"not good at all")
    assert mend(store, manifest, good, [fault_of("a.dpx")]) == []
    assert store._objects == before


def test_a_copy_that_is_itself_wrong_is_refused(store, good):
    manifest = stored(store, FILES)
    store._objects[key_of("a.dpx")] = b"frame A"
    (good / "a.dpx").write_bytes(b"frame a, edited since")
    (good / "a.dpx").write_bytes(b"frame !")
    with pytest.raises(RefusedError, match="not a good copy") as refused:
        mend(store, manifest, good, [fault_of("a.dpx")])
    assert digest_of(b"frame !") in str(refused.value)
    assert store.read(key_of("a.dpx")) == b"frame A"


def test_an_object_with_bytes_too_many_is_mended_too(store, good):
    manifest = stored(store, FILES)
    long = b"frame a" * 1000
    store._objects[key_of("a.dpx")] = long
    assert mend(store, manifest, good, [fault_of("a.dpx")]) == [Mended("a.dpx", digest_of(b"frame a"), digest_of(long))]


def test_a_chunk_is_mended_from_its_place_in_the_file(store, tmp_path):
    body = bytearray(WHOLE_LIMIT + 5)
    for place in range(0, len(body), CHUNK_SIZE):
        body[place : place + 5] = place.to_bytes(5, "big")
    manifest = stored(store, {"mix.wav": bytes(body)})
    (file,) = manifest.files
    true = dict(store._objects)
    store._objects[object_key(file.chunks[5].digest)] = b"?"
    store.discard(object_key(file.chunks[8].digest))
    good = lay_out(tmp_path / "good", {"mix.wav": bytes(body)})
    with Notebook(tmp_path / "notes") as notebook:
        faults = fetch(manifest, store, tmp_path / "arrived", notebook).faults
        assert [each.digest for each in mend(store, manifest, good, faults)] == [
            file.chunks[5].digest,
            file.chunks[8].digest,
        ]
        assert store._objects == true
        assert fetch(manifest, store, tmp_path / "arrived", notebook).whole


def test_someone_who_mends_at_the_same_time_is_no_harm(store, good):
    manifest = stored(store, FILES)
    store._objects[key_of("a.dpx")] = b"frame A"

    class Another:
        """Somebody mends the object after we looked and before we replaced it."""

        def replace(self, key, body, digest, bad):
            store._objects[key] = bytes(body)
            return store.replace(key, body, digest, bad)

        def __getattr__(self, name):
            return getattr(store, name)

    assert mend(Another(), manifest, good, [fault_of("a.dpx")]) == []
    assert store.read(key_of("a.dpx")) == b"frame a"


def test_an_object_that_never_holds_still_is_given_up(store, good):
    manifest = stored(store, FILES)

    class Restless:
        def replace(self, key, body, digest, bad):
            store._objects[key] += b"!"
            return store.replace(key, body, digest, bad)

        def __getattr__(self, name):
            return getattr(store, name)

    store._objects[key_of("a.dpx")] = b"frame A"
    with pytest.raises(LostRaceError, match="was changed 3 times"):
        mend(Restless(), manifest, good, [fault_of("a.dpx")])


def test_what_only_looks_like_a_file_of_the_store_is_for_a_person(good, tmp_path):
    store = DirectoryStore.founded(tmp_path / "bucket")
    manifest = stored(store, FILES)
    path = tmp_path / "bucket" / key_of("a.dpx")
    path.unlink()
    path.symlink_to(good / "a.dpx")
    with pytest.raises(BrokenError):
        mend(store, manifest, good, [fault_of("a.dpx")])


def test_faults_that_no_object_can_mend_are_passed_over(store, good):
    manifest = stored(store, FILES)
    extra = Fault("stranger.dpx", What.EXTRA, Where.ARRIVAL)
    assert mend(store, manifest, good, [extra]) == []
