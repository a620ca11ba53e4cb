"""Sending over a long line: memory serves the next file once its bytes arrived, and nothing is lost by that."""

import random
import threading
import time
from collections import Counter

import pytest

from relay.errors import BrokenError, RefusedError, TransientError
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.budget import Budget
from relay.transfer.deposit import deposit
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import MemoryStore
from tests.contracts.stores.scripted import PatientClock, Reply, Scripted
from tests.contracts.stores.scripted_store import OK, store_on
from tests.faults.send_house import LaterClock, hashes_on_disk, lay_out

MB = 1024 * 1024
BODY = random.Random(1).randbytes(3 * MB)


@pytest.fixture
def notebook(tmp_path):
    with Notebook(tmp_path / "notes") as notes:
        yield notes


class FarMemory(MemoryStore):
    """Tells of what arrived and writes over it, as the next file would; each object's fate is drawn from a seed."""

    def __init__(self, fates: tuple[str, ...], seed: int = 1) -> None:
        super().__init__()
        self.fates: Counter[str] = Counter()
        self.before_fate = lambda: None
        self._draw = random.Random(seed)
        self._choices = fates

    def create_carried(self, key, body, digest, carried) -> bool:
        fate = self._draw.choice(self._choices)
        self.fates[fate] += 1
        if fate == "nothing told":
            return self.create(key, body, digest)
        created = self.create(key, body, digest) if fate in {"answered", "answer lost"} else False
        body[:] = bytes(len(body))
        for left in (len(body) // 2, 0):
            carried(left)
        self.before_fate()
        if fate in {"answer lost", "never landed"}:
            raise TransientError("the line went dead")
        return created


def test_every_object_is_whole_whatever_became_of_the_stores_answer(tmp_path, notebook):
    rng = random.Random(7)
    files = {f"frames/a.{number:04d}.dpx": rng.randbytes(MB + number) for number in range(40)}
    folder = lay_out(tmp_path / "reel", files)
    store = FarMemory(("nothing told", "answered", "answer lost", "never landed"))
    budget = Budget(4 * MB)
    done = deposit(folder, store, notebook, hands=6, budget=budget, clock=LaterClock())

    assert len(store.fates) == 4
    assert {file.path: file.digest for file in done.manifest.files} == hashes_on_disk(folder)
    for body in files.values():
        assert store.read(object_key(digest_of(body))) == body
    assert budget.peak <= 4 * MB
    again = store.fates["answer lost"] + store.fates["never landed"]  # read and hashed a second time
    assert MB * (40 + again) <= done.hashed_bytes < MB * (40 + again + 1)
    assert done.already_there == store.fates["answer lost"]


def test_each_byte_is_hashed_once_where_the_answers_come(tmp_path, notebook):
    files = {f"frames/a.{number:04d}.dpx": bytes([number]) * MB for number in range(12)}
    folder = lay_out(tmp_path / "reel", files)
    done = deposit(folder, FarMemory(("answered",)), notebook, clock=LaterClock())
    assert done.hashed_bytes == 12 * MB


def test_wrong_bytes_under_a_files_name_are_found_after_its_own_bytes_left_our_memory(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": BODY})
    store = FarMemory(("taken",))
    store._objects[object_key(digest_of(BODY))] = BODY[:-1] + b"?"
    with pytest.raises(BrokenError, match=r"holds wrong bytes.*'a.dpx'"):
        deposit(folder, store, notebook, clock=LaterClock())


def test_a_file_that_changed_before_it_was_read_again_is_refused(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": BODY})
    store = FarMemory(("never landed",))
    store.before_fate = lambda: (folder / "a.dpx").write_bytes(bytes(len(BODY)))
    with pytest.raises(RefusedError, match=r"a.dpx.*changed while it was being sent"):
        deposit(folder, store, notebook, clock=LaterClock())


def test_a_store_tells_what_arrived_before_it_answers():
    told: list[int] = []

    def answer():
        while not told or told[-1]:
            time.sleep(0.001)
        yield OK.raw

    with Scripted([Reply(b"", pieces=answer())]) as server:
        assert store_on(server).create_carried(
            f"objects/{digest_of(BODY)}", bytearray(BODY), digest_of(BODY), told.append
        )
    assert told == sorted(told, reverse=True)
    assert server.requests[0].body == BODY


def test_what_arrived_is_never_sent_again_from_memory_that_may_hold_other_bytes():
    told, clock = [], PatientClock()

    def hang_up():
        while not told or told[-1]:
            time.sleep(0.001)
        yield b""

    lost = Reply(b"", pieces=hang_up(), hang_up=True)
    with Scripted([lost, OK]) as server:
        store, digest = store_on(server, clock), digest_of(BODY)
        with pytest.raises(TransientError, match="it may still land"):
            store.create_carried(object_key(digest), bytearray(BODY), digest, told.append)
        assert (len(server.requests), clock.waits) == (1, [])
        assert store.create(object_key(digest), BODY, digest)


class Line(MemoryStore):
    """Counts who has bytes on the line, and who waits for its word until `most` of them do so at once."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.on_line = self.most_on_line = 0
        self._waiting, self._lock = threading.Barrier(most), threading.Lock()

    def create_carried(self, key, body, digest, carried) -> bool:
        with self._lock:
            self.on_line += 1
            self.most_on_line = max(self.on_line, self.most_on_line)
        created = self.create(key, body, digest)
        time.sleep(0.02)
        with self._lock:
            self.on_line -= 1
        carried(0)
        self._waiting.wait(30)
        return created


def test_more_files_await_the_stores_word_than_have_bytes_on_the_line(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {f"a.{number:04d}.dpx": bytes([number]) * MB for number in range(12)})
    line = Line(6)
    assert deposit(folder, line, notebook, hands=4, clock=LaterClock()).sent_objects == 13  # with the manifest
    assert line.most_on_line <= 4
