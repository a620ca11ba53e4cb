"""Folders that are refused: nothing of them is sent, and what is wrong is named."""

import os
import socket
import tempfile
from datetime import timedelta
from pathlib import Path

import pytest

from relay.errors import MissingError, RefusedError
from relay.transfer.deposit import _let_settle, deposit
from relay.transfer.notebook import Notebook, Stamp
from relay.transfer.progress import Unwatched
from tests.contracts.memory_store import MemoryStore
from tests.faults.send_house import LaterClock, Watched, lay_out, manifests_in


@pytest.fixture
def notebook(tmp_path):
    with Notebook(tmp_path / "notes") as notes:
        yield notes


def test_an_empty_folder_is_refused(tmp_path, notebook):
    (tmp_path / "reel" / "frames").mkdir(parents=True)
    with pytest.raises(RefusedError, match="no files"):
        deposit(tmp_path / "reel", MemoryStore(), notebook)


def test_a_folder_that_is_not_there_is_missing(tmp_path, notebook):
    with pytest.raises(MissingError, match="no-such"):
        deposit(tmp_path / "no-such", MemoryStore(), notebook)


@pytest.mark.parametrize("kind", ["a link", "a pipe", "a socket"])
def test_what_is_neither_file_nor_folder_is_refused_by_its_name_and_kind(tmp_path, notebook, kind, monkeypatch):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a"})
    monkeypatch.chdir(folder)
    match kind:
        case "a link":
            Path("odd.dpx").symlink_to("a.dpx")
        case "a pipe":
            os.mkfifo("odd.dpx")
        case "a socket":
            server = socket.socket(socket.AF_UNIX)
            server.bind("odd.dpx")
            server.close()
    with pytest.raises(RefusedError, match=rf"odd\.dpx' is {kind}"):
        deposit(folder, MemoryStore(), notebook)


def test_a_link_to_a_folder_is_refused_and_not_followed(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a"})
    lay_out(tmp_path / "elsewhere", {"secret": b"s"})
    (folder / "more").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RefusedError, match="more' is a link"):
        deposit(folder, MemoryStore(), notebook)


@pytest.mark.parametrize(
    ("name", "words"), [("aux.dpx", "device"), ("a:b.dpx", "character"), ("caf\udce9.dpx", "UTF-8")]
)
def test_a_name_that_cannot_travel_is_refused_before_anything_is_sent(tmp_path, notebook, name, words):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a"})
    (folder / name).touch()
    store = Watched(MemoryStore())
    with pytest.raises(RefusedError, match=words):
        deposit(folder, store, notebook)
    assert not store.puts


def test_case_twins_are_refused_together(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"1"})
    (folder / "A.dpx").write_bytes(b"2")
    if len(list(folder.iterdir())) == 1:
        pytest.skip("this file system takes both names for one")
    with pytest.raises(RefusedError, match="cannot tell"):
        deposit(folder, MemoryStore(), notebook)


def test_a_folder_that_was_exchanged_while_it_was_read_and_put_back_is_refused(tmp_path, notebook):
    """Renaming a folder moves no stamp of the files in it: only the file that was opened tells."""
    folder = lay_out(tmp_path / "reel", {"frames/a.dpx": b"right", "frames/b.dpx": b"right too"})
    other = lay_out(tmp_path / "other", {"frames/a.dpx": b"wrong", "frames/b.dpx": b"wrong too"})

    def exchange() -> None:
        (folder / "frames").rename(tmp_path / "aside")
        (other / "frames").rename(folder / "frames")
        (tmp_path / "aside").rename(other / "frames")

    class Onlooker(Unwatched):
        def expect(self, files: int, size: int) -> None:
            exchange()

        def finished(self, path: str) -> None:
            if path.endswith("b.dpx"):
                exchange()

    store = MemoryStore()
    with pytest.raises(RefusedError, match=r"a\.dpx.*changed"):
        deposit(folder, store, notebook, hands=1, watcher=Onlooker())
    assert manifests_in(store) == []


def test_a_link_put_in_the_place_of_a_file_is_not_followed(tmp_path, notebook):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a"})

    class Onlooker(Unwatched):
        def expect(self, files: int, size: int) -> None:
            (folder / "a.dpx").rename(tmp_path / "aside")
            (folder / "a.dpx").symlink_to(tmp_path / "aside")

    with pytest.raises(RefusedError, match=r"a\.dpx' became a link"):
        deposit(folder, MemoryStore(), notebook, watcher=Onlooker())


def test_a_folder_that_was_just_touched_is_given_a_tick_to_settle(tmp_path, notebook):
    """Ticks: 10 ms at most for file systems that stamp with the kernel's, 2 s for FAT; common practice."""
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a"})
    waited: list[float] = []

    class Clock(LaterClock):
        def wait(self, seconds: float) -> None:
            waited.append(seconds)

    deposit(folder, MemoryStore(), notebook, clock=Clock(timedelta(0)))
    assert waited == [0.02]
    deposit(folder, MemoryStore(), notebook, clock=Clock(timedelta(seconds=5)))
    assert waited == [0.02]
    second = int(Clock(timedelta(0)).now().timestamp()) * 1_000_000_000
    stamp = Stamp(1, second, second, 1, 1)
    _let_settle({"a": stamp, "b": stamp}, Clock(timedelta(0)))
    _let_settle({"a": stamp, "b": stamp._replace(ctime_ns=second + 1)}, Clock(timedelta(0)))
    assert waited == [0.02, 2.0, 0.02]


@pytest.fixture
def ordinary_user():
    """Root may read everything: while the test runs, be nobody instead, in a folder that nobody may enter."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)
        if os.getuid() == 0:
            os.seteuid(0)


def test_a_file_that_may_not_be_read_is_named(ordinary_user, notebook):
    folder = lay_out(ordinary_user / "reel", {"a.dpx": b"a", "shut.dpx": b"s"})
    (folder / "shut.dpx").chmod(0)
    if os.getuid() == 0:
        os.seteuid(65534)
    with pytest.raises(RefusedError, match=r"shut\.dpx' may not be read"):
        deposit(folder, MemoryStore(), notebook)
