"""What a site remembers: only under the very same stamp, for every thread and process, and through a kill."""

import multiprocessing
import os
import signal
import sqlite3
import threading
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from relay.errors import RefusedError, TransientError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, Chunk
from relay.model import Digest, digest_of
from relay.transfer.notebook import Hashed, Notebook, Stamp, stamp_of

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
OLD = int((NOW - timedelta(hours=1)).timestamp()) * 1_000_000_000
STAMP = Stamp(size=7, mtime_ns=OLD, ctime_ns=OLD, inode=2**64 - 1, device=5)
HELD = Hashed(digest_of(b"held"))


@pytest.fixture
def notebook(tmp_path):
    with Notebook(tmp_path / "notes") as notes:
        yield notes


def digests(number: int) -> list[Digest]:
    return [digest_of(n.to_bytes(4, "big")) for n in range(number)]


def test_a_hash_is_known_under_the_very_same_stamp_only(notebook):
    notebook.remember("/reel/a.dpx", STAMP, HELD, NOW)
    assert notebook.known({"/reel/a.dpx": STAMP, "/reel/b.dpx": STAMP}) == {"/reel/a.dpx": HELD}
    for field in Stamp._fields:
        other = STAMP._replace(**{field: getattr(STAMP, field) - 1})
        assert notebook.known({"/reel/a.dpx": other}) == {}


@pytest.mark.parametrize(("age", "known"), [(0, False), (30, False), (59.9, False), (60.1, True), (-100, False)])
def test_a_hash_of_a_file_that_was_touched_within_a_minute_is_not_remembered(notebook, age, known):
    touched = int((NOW.timestamp() - age) * 1e9)
    # The modification time is no witness: anybody can set it.
    stamp = STAMP._replace(ctime_ns=touched, mtime_ns=OLD)
    notebook.remember("/reel/a.dpx", stamp, HELD, NOW)
    assert bool(notebook.known({"/reel/a.dpx": stamp})) is known


def test_chunks_and_paths_that_are_not_utf8_come_back_as_they_were(notebook):
    path = os.fsdecode(b"/r\xe9el/mix.wav")
    stamp = STAMP._replace(size=WHOLE_LIMIT + 1)
    chunks = (*(Chunk(d, CHUNK_SIZE) for d in digests(8)), Chunk(digest_of(b"last"), 1))
    notebook.remember(path, stamp, Hashed(HELD.digest, chunks), NOW)
    assert notebook.known({path: stamp}) == {path: Hashed(HELD.digest, chunks)}


def test_many_files_and_objects_are_looked_up_at_once(notebook):
    stamps = {f"/reel/{n}": STAMP._replace(inode=n) for n in range(2500)}
    for path, stamp in stamps.items():
        notebook.remember(path, stamp, HELD, NOW)
    assert len(notebook.known(stamps)) == 2500
    for digest in digests(2000):
        notebook.prove("here", digest)
    assert notebook.proven("here", digests(2500)) == set(digests(2000))


def test_what_is_proven_of_one_store_says_nothing_of_another(notebook):
    (digest,) = digests(1)
    notebook.prove("here", digest)
    assert notebook.proven("here", [digest]) == {digest}
    assert notebook.proven("there", [digest]) == set()
    assert notebook.some_proven("there", 4) == []
    assert set(notebook.some_proven("here", 4)) == {digest}


def test_doubted_objects_are_forgotten(notebook):
    one, two, three = digests(3)
    for digest in (one, two, three):
        notebook.prove("here", digest)
    notebook.prove("there", one)
    notebook.doubt("here", [one])
    assert notebook.proven("here", [one, two, three]) == {two, three}
    notebook.doubt("here")
    assert notebook.proven("here", [one, two, three]) == set()
    assert notebook.proven("there", [one]) == {one}


def test_a_notebook_that_was_put_away_still_knows(tmp_path):
    with Notebook(tmp_path / "notes") as notebook:
        notebook.remember("/reel/a.dpx", STAMP, HELD, NOW)
    with Notebook(tmp_path / "notes") as notebook:
        assert notebook.known({"/reel/a.dpx": STAMP}) == {"/reel/a.dpx": HELD}


def test_many_threads_and_two_notebooks_on_one_file_lose_nothing(tmp_path):
    with Notebook(tmp_path / "notes") as one, Notebook(tmp_path / "notes") as other:

        def write(notebook: Notebook, start: int) -> None:
            for digest in digests(400)[start::8]:
                notebook.prove("here", digest)

        threads = [threading.Thread(target=write, args=((one, other)[n % 2], n)) for n in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert one.proven("here", digests(400)) == other.proven("here", digests(400)) == set(digests(400))


def _write_until_killed(path, said) -> None:
    with Notebook(path) as notebook:
        for number in count():
            notebook.prove("here", digest_of(number.to_bytes(4, "big")))
            os.write(said, number.to_bytes(4, "big"))  # only after it was noted


@pytest.mark.parametrize("lines", [1, 57, 400])
def test_what_was_noted_survives_a_kill(tmp_path, lines):
    path = tmp_path / "notes"
    heard, said = os.pipe()
    process = multiprocessing.get_context("fork").Process(target=_write_until_killed, args=(path, said))
    process.start()
    for _ in range(lines):
        os.read(heard, 4)
    os.kill(process.pid, signal.SIGKILL)
    process.join()
    os.close(said)
    rest = b"".join(iter(lambda: os.read(heard, 65536), b""))
    os.close(heard)
    noted = lines + len(rest) // 4
    with Notebook(path) as notebook:
        assert notebook.proven("here", digests(noted)) == set(digests(noted))
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_notebook_that_cannot_be_opened_says_which(tmp_path):
    with pytest.raises(RefusedError, match="no-folder"):
        Notebook(tmp_path / "no-folder" / "notes")


def test_a_notebook_of_a_later_form_asks_for_an_upgrade(tmp_path):
    Notebook(tmp_path / "notes").close()
    database = sqlite3.connect(tmp_path / "notes")
    database.execute("PRAGMA user_version = 2")
    database.close()
    with pytest.raises(RefusedError, match="upgrade"):
        Notebook(tmp_path / "notes")


def test_a_notebook_that_another_process_holds_is_tried_again_later(tmp_path, monkeypatch):
    monkeypatch.setattr("relay.transfer.notebook._WAIT_SECONDS", 0)
    with Notebook(tmp_path / "notes") as notebook:
        holder = sqlite3.connect(tmp_path / "notes", isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(TransientError, match="in use"):
            notebook.prove("here", HELD.digest)
        holder.execute("ROLLBACK")
        holder.close()


def test_a_stamp_tells_a_file_from_its_twin_with_the_same_times(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    for path in (one, other):
        path.write_bytes(b"same size")
        os.utime(path, ns=(OLD, OLD))
    assert stamp_of(one.stat()) != stamp_of(other.stat())
    before = stamp_of(one.stat())
    one.write_bytes(b"SAME SIZE")
    os.utime(one, ns=(OLD, OLD))
    after = stamp_of(one.stat())
    assert after != before
    assert after._replace(ctime_ns=before.ctime_ns) == before  # nothing but ctime tells
