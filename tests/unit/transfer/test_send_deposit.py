"""Sending a package: what is sent, and what is counted."""

import hashlib
import os
import threading

import pytest

from relay.errors import RefusedError, TransientError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, parse_manifest
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.budget import Budget
from relay.transfer.deposit import deposit
from relay.transfer.notebook import Notebook
from relay.transfer.progress import Unwatched
from tests.contracts.memory_store import MemoryStore
from tests.faults.send_house import LaterClock, Watched, hashes_on_disk, lay_out, manifests_in, package


@pytest.fixture
def notebook(tmp_path):
    with Notebook(tmp_path / "notes") as notes:
        yield notes


class HashCounter:
    """Stands in for hashlib's SHA-256 and counts the bytes that go in."""

    def __init__(self) -> None:
        self.size = 0
        self._sha256 = hashlib.sha256
        self._lock = threading.Lock()

    def __call__(self, body: bytes = b"") -> "HashCounter._Sum":
        counted = self._Sum(self)
        counted.update(body)
        return counted

    class _Sum:
        def __init__(self, counter: "HashCounter") -> None:
            self._counter = counter
            self._sum = counter._sha256()

        def update(self, body: bytes) -> None:
            with self._counter._lock:
                self._counter.size += len(body)
            self._sum.update(body)

        def hexdigest(self) -> str:
            return self._sum.hexdigest()


class Tally(Unwatched):
    def __init__(self) -> None:
        self.expected: tuple[int, int] | None = None
        self.size = 0
        self.files: list[str] = []
        self._lock = threading.Lock()

    def expect(self, files: int, size: int) -> None:
        self.expected = (files, size)

    def moved(self, size: int) -> None:
        with self._lock:
            self.size += size

    def finished(self, path: str) -> None:
        with self._lock:
            self.files.append(path)


class Sink:
    """A store that believes the digest it is told: nothing but the sender hashes, and nothing is kept."""

    name = "the sink"

    def __init__(self) -> None:
        self.sizes: dict[str, int] = {}

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: str) -> bool:
        return self.sizes.setdefault(key, len(body)) == len(body)

    def size(self, key: str) -> int | None:
        return self.sizes.get(key)


def sparse(path, size: int, mark_every: int = CHUNK_SIZE):
    """Write a file of `size` bytes that takes no room, no two chunks of which are alike."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(size)
        for place in range(0, size, mark_every):
            file.seek(place)
            file.write(place.to_bytes(8, "big")[: size - place])
    return path


def test_a_package_is_stored_whole_with_its_manifest_last(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", package(11))
    order: list[str] = []
    store = Watched(MemoryStore(), after=order.append)
    done = deposit(folder, store, notebook)
    assert {file.path: file.digest for file in done.manifest.files} == hashes_on_disk(folder)
    assert parse_manifest(store.read(object_key(done.manifest.digest()))) == done.manifest
    for file in done.manifest.files:
        assert store.read(object_key(file.digest)) == (folder / file.path).read_bytes()
    assert order[-1] == object_key(done.manifest.digest())
    assert set(store.puts.values()) == {1}


def test_what_is_there_is_not_sent_again_and_what_is_known_is_not_even_read(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", package(12))
    store = Watched(MemoryStore())
    first = deposit(folder, store, notebook, clock=LaterClock())
    puts = dict(store.puts)
    again = deposit(folder, store, notebook, clock=LaterClock())
    assert again.manifest == first.manifest
    assert (again.sent_objects, again.sent_bytes, again.hashed_bytes) == (0, 0, 0)
    assert store.puts == puts
    (folder / "sound" / "mix.wav").write_bytes(b"another mix")
    third = deposit(folder, store, notebook, clock=LaterClock())
    assert third.hashed_bytes == len(b"another mix")
    assert third.sent_objects == 2  # the mix, and the manifest


def test_a_copy_of_the_folder_is_read_but_nothing_of_it_is_sent(tmp_path, notebook):
    store = Watched(MemoryStore())
    first = deposit(lay_out(tmp_path / "reel", package(13)), store, notebook)
    copy = deposit(lay_out(tmp_path / "copy", package(13)), store, notebook)
    assert copy.manifest == first.manifest
    assert copy.sent_objects == 0
    assert copy.hashed_bytes == first.hashed_bytes
    assert set(store.puts.values()) == {1}


def test_files_with_the_same_content_are_sent_once(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {f"frames/a.{n:04d}.dpx": b"black" * 1000 for n in range(40)})
    store = Watched(MemoryStore())
    done = deposit(folder, store, notebook)
    assert sum(store.puts.values()) == 2
    assert done.sent_objects == 2
    assert len(done.manifest.files) == 40


def test_each_byte_is_hashed_once_and_that_of_a_chunked_file_twice(tmp_path, notebook, monkeypatch):
    files = {f"frames/a.{n:04d}.dpx": os.urandom(3000 + n) for n in range(50)}
    folder = lay_out(tmp_path / "reel", files)
    large = sparse(folder / "sound" / "mix.wav", WHOLE_LIMIT + 12_345).stat().st_size
    counter = HashCounter()
    monkeypatch.setattr(hashlib, "sha256", counter)
    done = deposit(folder, Sink(), notebook, clock=LaterClock())
    expected = sum(map(len, files.values())) + 2 * large
    assert counter.size == expected + len(done.manifest.encode())
    assert done.hashed_bytes == expected
    assert deposit(folder, Sink(), notebook, clock=LaterClock()).manifest == done.manifest


def test_a_file_at_the_limit_is_one_object_and_a_byte_more_makes_chunks(tmp_path, notebook):
    folder = tmp_path / "reel"
    sparse(folder / "at.wav", WHOLE_LIMIT)
    sparse(folder / "over.wav", WHOLE_LIMIT + 1)
    store = Sink()
    manifest = deposit(folder, store, notebook).manifest
    at, over = manifest.files
    assert at.chunks == ()
    assert [chunk.size for chunk in over.chunks] == [CHUNK_SIZE] * 8 + [1]
    assert {file.path: file.digest for file in manifest.files} == hashes_on_disk(folder)
    with (folder / "over.wav").open("rb") as file:
        assert [digest_of(file.read(CHUNK_SIZE)) for _ in range(9)] == [chunk.digest for chunk in over.chunks]
    assert store.sizes == {object_key(d): size for d, size in manifest.objects().items()} | {
        object_key(manifest.digest()): len(manifest.encode())
    }


def test_a_large_file_that_was_interrupted_goes_on_at_its_chunk(tmp_path, notebook):
    folder = tmp_path / "reel"
    sparse(folder / "mix.wav", 2 * WHOLE_LIMIT)
    inner = MemoryStore()

    def away(_key: str) -> None:
        if len(inner._objects) >= 5:
            raise TransientError("the store is away")

    cut = Watched(inner, before=away)
    with pytest.raises(TransientError, match="away"):
        deposit(folder, cut, notebook, hands=2)
    landed = set(inner._objects)
    assert len(landed) >= 5
    store = Watched(inner)
    done = deposit(folder, store, notebook, hands=2)
    assert not landed & set(store.puts)
    assert {file.path: file.digest for file in done.manifest.files} == hashes_on_disk(folder)


@pytest.mark.parametrize("chunk", [0, 3, 8])
def test_a_large_file_that_changes_between_its_chunks_is_refused(tmp_path, notebook, chunk):
    folder = tmp_path / "reel"
    large = sparse(folder / "mix.wav", WHOLE_LIMIT + 9)
    seen: list[str] = []

    def meddle(key: str) -> None:
        seen.append(key)
        if len(seen) == chunk + 1:
            before = large.stat()
            with large.open("r+b") as file:
                file.seek(7)
                file.write(b"x")
            os.utime(large, ns=(before.st_atime_ns, before.st_mtime_ns))

    inner = MemoryStore()
    with pytest.raises(RefusedError, match=r"mix\.wav.*changed"):
        deposit(folder, Watched(inner, before=meddle), notebook, hands=1)
    assert manifests_in(inner) == []


def test_when_the_store_goes_away_what_is_under_way_is_finished_and_nothing_is_sent_twice(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {f"frames/a.{n:04d}.dpx": n.to_bytes(2, "big") * 500 for n in range(60)})
    inner = MemoryStore()

    def away(_key: str) -> None:
        if len(inner._objects) >= 20:
            raise TransientError("the store is away")

    with pytest.raises(TransientError, match="away"):
        deposit(folder, Watched(inner, before=away), notebook, hands=8)
    landed = dict(inner._objects)
    assert 20 <= len(landed) < 28
    store = Watched(inner)
    done = deposit(folder, store, notebook, hands=8)
    assert not landed.keys() & store.puts.keys()
    assert set(store.puts.values()) == {1}
    assert done.sent_objects == 61 - len(landed)


def test_when_one_file_fails_no_other_is_begun(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {f"frames/a.{n:04d}.dpx": n.to_bytes(2, "big") * 500 for n in range(400)})
    bad = object_key(digest_of(bytes(1000)))  # frame 0

    def refuse(key: str) -> None:
        if key == bad:
            raise RefusedError("the store is read-only")

    store = Watched(MemoryStore(), before=refuse)
    with pytest.raises(RefusedError, match="read-only"):
        deposit(folder, store, notebook, hands=4)
    assert sum(store.puts.values()) < 200


def test_a_fault_that_a_person_must_see_goes_before_one_that_passes(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a", "b.dpx": b"b"})
    both = threading.Barrier(2)

    def trouble(key: str) -> None:
        both.wait(timeout=60)
        if key == object_key(digest_of(b"a")):
            raise TransientError("the store is away")
        raise RefusedError("the store is read-only")

    with pytest.raises(RefusedError, match="read-only"):
        deposit(folder, Watched(MemoryStore(), before=trouble), notebook, hands=2)


def test_bytes_in_flight_stay_within_the_budget(tmp_path, notebook):
    folder = tmp_path / "reel"
    for number in range(12):
        sparse(folder / f"a.{number}.dpx", 30_000_000 + number)
    sparse(folder / "mix.wav", 2 * WHOLE_LIMIT)
    budget = Budget()
    deposit(folder, Sink(), notebook, hands=16, budget=budget)
    assert 100_000_000 < budget.peak <= 128 * 1024 * 1024


def test_the_watcher_is_told_all_and_in_the_end_everything(tmp_path, notebook):
    files = package(14)
    folder = lay_out(tmp_path / "reel", files)
    for _ in range(2):
        tally = Tally()
        deposit(folder, MemoryStore(), notebook, watcher=tally, clock=LaterClock())
        assert tally.expected == (len(files), sum(map(len, files.values())))
        assert tally.size == tally.expected[1]
        assert sorted(tally.files) == sorted(files)


def test_nothing_is_written_into_the_folder(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", package(15))
    paths = [folder, *folder.rglob("*")]
    before = {path: (path.stat().st_mtime_ns, path.stat().st_ctime_ns) for path in paths}
    deposit(folder, MemoryStore(), notebook)
    assert {path: (path.stat().st_mtime_ns, path.stat().st_ctime_ns) for path in [folder, *folder.rglob("*")]} == before


def test_litter_of_file_browsers_is_left_out_and_said_and_our_hidden_files_are_passed_by(tmp_path, notebook):
    files = {
        "a.dpx": b"a",
        ".DS_Store": b"x",
        "sub/Thumbs.db": b"x",
        "._a.dpx": b"x",
        ".relay-incoming-R03/b.dpx": b"b",
    }
    done = deposit(lay_out(tmp_path / "reel", files), MemoryStore(), notebook)
    assert [file.path for file in done.manifest.files] == ["a.dpx"]
    assert done.left_out == (".DS_Store", "._a.dpx", "sub/Thumbs.db")
