"""A package fetched: whole, verified, from where it costs least, and never over anything."""

import os
import random
import threading
from pathlib import Path

import pytest

from relay.errors import RefusedError, TransientError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT
from relay.model import digest_of
from relay.store.directory import DirectoryStore
from relay.store.keys import object_key
from relay.transfer.budget import Budget
from relay.transfer.deposit import deposit
from relay.transfer.faults import What, Where
from relay.transfer.fetch import fetch
from relay.transfer.landing import Landing
from relay.transfer.notebook import Notebook
from relay.transfer.target import hidden_beside
from relay.transfer.verify import verify
from tests.contracts.memory_store import MemoryStore
from tests.faults.fetch_house import Failing, away_after, hidden_in, lies_at, manifest_of, stored, unharmed
from tests.faults.send_house import LaterClock, hashes_on_disk, lay_out, package
from tests.references.pictures import street_reel  # noqa: F401  a fixture


@pytest.fixture
def notebook(tmp_path):
    (tmp_path / "home").mkdir()
    with Notebook(tmp_path / "home" / "notes") as opened:
        yield opened


@pytest.fixture
def store():
    return MemoryStore()


class Watching:
    def __init__(self):
        self.told, self.bytes, self.done = (0, 0), 0, []

    def expect(self, files, size):
        self.told = (files, size)

    def moved(self, size):
        self.bytes += size

    def finished(self, path):
        self.done.append(path)

    def resting(self, seconds, why):
        pass


def sound() -> bytes:
    """A file just large enough to go in chunks, no two of which are alike."""
    body = bytearray(WHOLE_LIMIT + 5)
    for place in range(0, len(body), CHUNK_SIZE):
        body[place : place + 5] = place.to_bytes(5, "big")
    return bytes(body)


def test_what_was_sent_arrives_with_every_byte_and_nothing_else(tmp_path, store, notebook):
    files = package(1) | {"empty.txt": b"", "deep/down/in/there.wav": b"sound"}
    sent = deposit(lay_out(tmp_path / "reel", files), store, notebook)
    fetched = fetch(sent.manifest, store, tmp_path / "arrived", notebook)
    assert fetched.whole
    assert lies_at(tmp_path / "arrived") == files
    assert hidden_in(tmp_path) == []


def test_frames_a_camera_took_arrive_as_they_were_sent(tmp_path, notebook, street_reel):  # noqa: F811
    reel = street_reel(12, 512, 389)
    store = DirectoryStore.founded(tmp_path / "bucket")
    sent = deposit(reel, store, notebook)
    assert fetch(sent.manifest, store, tmp_path / "arrived", notebook).whole
    assert hashes_on_disk(tmp_path / "arrived") == hashes_on_disk(reel)


def test_a_file_in_chunks_arrives_whole_and_is_resumed_at_the_chunk(tmp_path, store, notebook):
    files = {"mix.wav": sound(), "a.dpx": b"a frame"}
    manifest = stored(store, files)
    with pytest.raises(TransientError):
        fetch(manifest, Failing(store, away_after(6)), tmp_path / "arrived", notebook, hands=2)
    (hidden,) = hidden_in(tmp_path)
    assert (hidden / "mix.wav").stat().st_size == WHOLE_LIMIT + 5
    again = Failing(store, unharmed)
    fetched = fetch(manifest, again, tmp_path / "arrived", notebook, hands=2)
    assert lies_at(tmp_path / "arrived") == files
    assert again.reads.total() == len(manifest.objects()) - 6
    assert fetched.kept_bytes + fetched.fetched_bytes == manifest.size()


def test_a_wrong_chunk_is_named_with_the_digest_of_the_chunk(tmp_path, store, notebook):
    manifest = stored(store, {"mix.wav": sound()})
    (file,) = manifest.files
    bad = file.chunks[3]
    store._objects[object_key(bad.digest)] = b"?" * bad.size
    fetched = fetch(manifest, store, tmp_path / "arrived", notebook)
    (fault,) = fetched.faults
    assert (fault.path, fault.what, fault.where) == ("mix.wav", What.CHANGED, Where.BUCKET)
    assert (fault.expected, fault.found) == (bad.digest, digest_of(b"?" * bad.size))


def untouched(path: Path) -> tuple[int, ...]:
    """Return what of a file changes when it is written, renamed or replaced, and not when it is read."""
    state = path.stat()
    return state.st_mode, state.st_ino, state.st_nlink, state.st_size, state.st_mtime_ns, state.st_ctime_ns


def test_fetching_again_changes_nothing_ten_times_over(tmp_path, store, notebook):
    manifest = stored(store, package(2))
    target = tmp_path / "arrived"
    fetch(manifest, store, target, notebook)
    before = {path: untouched(path) for path in target.rglob("*")}
    for _ in range(10):
        watched = Failing(store, unharmed)
        assert fetch(manifest, watched, target, notebook).whole
        assert watched.reads.total() == 0
    assert {path: untouched(path) for path in target.rglob("*")} == before


def test_something_else_at_the_target_is_refused_and_left_alone(tmp_path, store, notebook):
    manifest = stored(store, package(3))
    target = lay_out(tmp_path / "arrived", {"somebody's.txt": b"work"})
    with pytest.raises(RefusedError, match="Nothing was changed"):
        fetch(manifest, store, target, notebook)
    assert lies_at(target) == {"somebody's.txt": b"work"}
    assert hidden_in(tmp_path) == []


@pytest.mark.parametrize("kind", ["file", "link", "broken link"])
def test_a_file_or_a_link_at_the_target_is_refused(kind, tmp_path, store, notebook):
    manifest = stored(store, package(3))
    target = tmp_path / "arrived"
    if kind == "file":
        target.write_bytes(b"work")
    else:
        target.symlink_to(tmp_path if kind == "link" else tmp_path / "nowhere")
    with pytest.raises(RefusedError, match="Something lies at"):
        fetch(manifest, store, target, notebook)
    assert os.path.lexists(target)
    assert hidden_in(tmp_path) == []


def test_an_empty_folder_at_the_target_is_nothing_in_the_way(tmp_path, store, notebook):
    files = package(4)
    (tmp_path / "arrived").mkdir()
    assert fetch(stored(store, files), store, tmp_path / "arrived", notebook).whole
    assert lies_at(tmp_path / "arrived") == files


def test_something_that_appears_at_the_target_meanwhile_is_never_replaced(tmp_path, store, notebook):
    manifest, target = stored(store, package(5)), tmp_path / "arrived"

    def somebody_works_there(_key, _number, _buffer, size):
        lay_out(target, {"somebody's.txt": b"work"})
        return size

    with pytest.raises(RefusedError, match="Something lies at"):
        fetch(manifest, Failing(store, somebody_works_there), target, notebook)
    assert lies_at(target) == {"somebody's.txt": b"work"}
    (hidden,) = hidden_in(tmp_path)
    assert lies_at(hidden) == package(5)


def test_two_runs_never_fill_one_folder_at_once(tmp_path, store, notebook):
    manifest, target = stored(store, package(6)), tmp_path / "arrived"
    refused = []

    def a_second_run(_key, _number, _buffer, size):
        if not refused:
            with pytest.raises(TransientError, match="Another run is filling") as error:
                fetch(manifest, store, target, notebook)
            refused.append(error.value)
        return size

    assert fetch(manifest, Failing(store, a_second_run), target, notebook, hands=1).whole
    assert len(refused) == 1
    assert verify(target, manifest) == []


@pytest.mark.parametrize("name", ["..", ".", "/", "home/.."])
def test_a_target_without_a_name_of_its_own_is_refused(name, tmp_path, store, notebook, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RefusedError, match="does not name a new folder"):
        fetch(stored(store, package(6)), store, Path(name), notebook)


def test_a_very_long_name_still_has_a_hidden_folder(tmp_path, store, notebook):
    target = tmp_path / ("ä" * 127)
    assert fetch(stored(store, package(6)), store, target, notebook).whole
    assert len(os.fsencode(hidden_beside(target).name)) <= 255


def test_content_that_stands_twice_comes_over_the_line_once(tmp_path, store, notebook):
    files = {f"{place}.dpx": b"black" for place in range(5)}
    watched = Failing(store, unharmed)
    manifest = stored(store, files)
    assert fetch(manifest, watched, tmp_path / "arrived", notebook).fetched_objects == 1
    assert watched.reads.total() == 1
    assert lies_at(tmp_path / "arrived") == files
    assert len({path.stat().st_ino for path in (tmp_path / "arrived").iterdir()}) == 5


def test_the_watcher_hears_of_every_file_and_every_byte(tmp_path, store, notebook):
    files = package(7)
    watching = Watching()
    fetch(stored(store, files), store, tmp_path / "arrived", notebook, watcher=watching)
    size = sum(map(len, files.values()))
    assert (watching.told, watching.bytes, sorted(watching.done)) == ((len(files), size), size, sorted(files))


def test_the_bytes_in_flight_never_exceed_the_budget(tmp_path, store, notebook):
    files = {f"{n}.dpx": random.Random(n).randbytes(300_000) for n in range(40)}
    budget = Budget(1_100_000)
    assert fetch(stored(store, files), store, tmp_path / "arrived", notebook, hands=16, budget=budget).whole
    assert 0 < budget.peak <= 1_100_000


def test_what_arrived_and_waits_for_the_disk_lets_another_object_set_out(tmp_path, store, notebook, monkeypatch):
    files = {f"{name}.dpx": random.Random(name).randbytes(1_000_000) for name in range(3)}
    manifest, asked, all_asked = stored(store, files), [], threading.Event()
    read_into, write = store.read_into, Landing.write

    def asking(key, buffer):
        asked.append(key)
        if len(asked) == len(files):
            all_asked.set()
        return read_into(key, buffer)

    def waiting(*given):
        assert all_asked.wait(timeout=20)
        write(*given)

    monkeypatch.setattr(store, "read_into", asking)
    monkeypatch.setattr(Landing, "write", waiting)
    budget = Budget(2_100_000)  # two on the line; three in memory
    assert fetch(manifest, store, tmp_path / "arrived", notebook, hands=3, budget=budget).whole
    assert budget.peak <= 2_100_000


def test_an_object_that_was_fetched_need_not_be_sent_or_read_again(tmp_path, store, notebook):
    files = package(8)
    manifest = stored(store, files)
    fetch(manifest, store, tmp_path / "arrived", notebook)
    watched = Failing(store, unharmed)
    sent = deposit(tmp_path / "arrived", watched, notebook, expected=frozenset(manifest.objects()))
    assert sent.manifest == manifest
    assert (sent.sent_objects, watched.reads.total()) == (1, 0)  # the manifest itself


def test_hashes_of_what_landed_are_remembered_once_it_lay_quiet(tmp_path, store, notebook):
    manifest = stored(store, package(9))
    fetch(manifest, store, tmp_path / "arrived", notebook, clock=LaterClock())
    sent = deposit(tmp_path / "arrived", store, notebook, clock=LaterClock())
    assert (sent.manifest, sent.hashed_bytes) == (manifest, 0)


class TestEarlierVersionsSupplyWhatDidNotChange:
    @pytest.fixture
    def first(self):
        return {f"frames/A_R01.{n:07d}.dpx": random.Random(n).randbytes(20_000) for n in range(10)}

    @pytest.fixture
    def second(self, first):
        changed = {"frames/A_R01.0000003.dpx": b"regraded", "frames/A_R01.0000010.dpx": b"one more"}
        return first | changed

    def test_only_what_changed_comes_over_the_line(self, tmp_path, store, notebook, first, second):
        old, new = stored(store, first), stored(store, second)
        fetch(old, store, tmp_path / "v1", notebook)
        watched = Failing(store, unharmed)
        fetched = fetch(new, watched, tmp_path / "v2", notebook, earlier={tmp_path / "v1": old})
        assert lies_at(tmp_path / "v2") == second
        assert (watched.reads.total(), fetched.fetched_objects) == (2, 2)
        assert fetched.reused_bytes == 9 * 20_000

    def test_a_file_that_was_edited_there_since_is_fetched_instead(self, tmp_path, store, notebook, first, second):
        old, new = stored(store, first), stored(store, second)
        fetch(old, store, tmp_path / "v1", notebook)
        edited = tmp_path / "v1" / "frames" / "A_R01.0000005.dpx"
        edited.write_bytes(b"!" * 20_000)
        (tmp_path / "v1" / "frames" / "A_R01.0000006.dpx").unlink()
        fetched = fetch(new, store, tmp_path / "v2", notebook, earlier={tmp_path / "v1": old})
        assert lies_at(tmp_path / "v2") == second
        assert fetched.fetched_objects == 4
        assert edited.read_bytes() == b"!" * 20_000

    def test_an_edit_of_one_arrival_never_reaches_the_other(self, tmp_path, store, notebook, first):
        manifest = stored(store, first)
        fetch(manifest, store, tmp_path / "v1", notebook)
        fetch(manifest, store, tmp_path / "v2", notebook, earlier={tmp_path / "v1": manifest})
        check_apart(tmp_path / "v1", tmp_path / "v2", first)

    def test_what_is_no_file_any_more_is_not_read_as_one(self, tmp_path, store, notebook, first):
        manifest = stored(store, first)
        fetch(manifest, store, tmp_path / "v1", notebook)
        one, two, three = (tmp_path / "v1" / "frames" / f"A_R01.000000{n}.dpx" for n in (1, 2, 3))
        one.rename(tmp_path / "aside.dpx")
        one.symlink_to(tmp_path / "aside.dpx")
        two.unlink()
        os.mkfifo(two)
        three.unlink()
        three.mkdir()
        fetched = fetch(manifest, store, tmp_path / "v2", notebook, earlier={tmp_path / "v1": manifest})
        assert lies_at(tmp_path / "v2") == first
        assert fetched.fetched_objects == 3

    def test_chunks_that_did_not_change_are_reused_one_by_one(self, tmp_path, store, notebook):
        body = sound()
        changed = body[:CHUNK_SIZE] + b"new take" + body[CHUNK_SIZE + 8 :]
        old, new = stored(store, {"mix.wav": body}), stored(store, {"mix.wav": changed})
        fetch(old, store, tmp_path / "v1", notebook)
        fetched = fetch(new, store, tmp_path / "v2", notebook, earlier={tmp_path / "v1": old})
        assert lies_at(tmp_path / "v2") == {"mix.wav": changed}
        assert (fetched.fetched_objects, fetched.reused_bytes) == (1, len(body) - CHUNK_SIZE)


def check_apart(one: Path, two: Path, files: dict[str, bytes]) -> None:
    """Edit each of two arrivals in place, and see that the other stands."""
    paths = sorted(files)
    for path in paths:
        assert (one / path).stat().st_nlink == (two / path).stat().st_nlink == 1
        assert not (one / path).samefile(two / path)
    for edited, other, path in ((two, one, paths[0]), (one, two, paths[1])):
        with (edited / path).open("r+b") as file:
            file.write(b"edited by somebody")
        assert (other / path).read_bytes() == files[path]


def test_a_manifest_is_refused_before_anything_is_made_of_it(tmp_path, store, notebook):
    for path in ("../outside.dpx", "/etc/outside", "a/../../outside"):
        with pytest.raises(ValueError, match="cannot be part of a package"):
            fetch(manifest_of({path: b"x"}), store, tmp_path / "arrived", notebook)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["home"]
