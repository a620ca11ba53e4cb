import os
from pathlib import Path

import pytest

from relay.errors import BrokenError, RefusedError
from relay.ledger.copy import NO_HEAD, LocalCopy
from relay.model import digest_of
from tests.unit.ledger.scene import Told, longer, pen, version


@pytest.fixture(scope="module")
def told() -> Told:
    return longer(Told.founded(), 13)


@pytest.fixture
def copy(tmp_path: Path) -> LocalCopy:
    return LocalCopy(tmp_path / "ledger")


def test_a_new_site_remembers_nothing(copy: LocalCopy) -> None:
    assert (copy.head(), copy.entries()) == (NO_HEAD, [])
    assert copy.keep([])
    assert (copy.head(), copy.entries()) == (NO_HEAD, [])


def test_what_is_kept_comes_back_byte_for_byte(copy: LocalCopy, told: Told) -> None:
    for count in (1, 2, 7, len(told.raws)):
        assert copy.keep(told.raws[:count])
        assert copy.entries() == told.raws[:count]
        head = copy.head()
        assert (head.sequence, head.digest) == (count - 1, digest_of(told.raws[count - 1]))
        assert head.length == (copy.folder / "entries").stat().st_size


def test_keeping_the_same_again_writes_nothing(copy: LocalCopy, told: Told) -> None:
    copy.keep(told.raws)
    before = {path.name: path.stat().st_mtime_ns for path in copy.folder.iterdir()}
    assert copy.keep(told.raws)
    assert {path.name: path.stat().st_mtime_ns for path in copy.folder.iterdir()} == before


def test_a_process_that_is_behind_does_not_take_the_head_back(copy: LocalCopy, told: Told) -> None:
    copy.keep(told.raws)
    assert not copy.keep(told.raws[:5])
    assert copy.entries() == told.raws


def test_another_history_is_refused_where_the_head_was(copy: LocalCopy, told: Told) -> None:
    other = Told.founded()
    while len(other.raws) <= len(told.raws) + 1:
        other.say(pen("kolkata"), version("B/R02", other.state.newest.get("B/R02", 0) + 1, note="another history"))
    copy.keep(told.raws)
    for raws in (other.raws, other.raws[: len(told.raws)]):
        with pytest.raises(BrokenError, match=f"another entry {len(told.raws) - 1}"):
            copy.keep(raws)
    assert copy.entries() == told.raws


@pytest.mark.parametrize("damage", ["gone", "shorter", "last byte", "empty", "folder"])
def test_damaged_entries_are_read_anew_and_the_head_is_remembered(copy: LocalCopy, told: Told, damage: str) -> None:
    copy.keep(told.raws)
    path = copy.folder / "entries"
    whole = path.read_bytes()
    path.unlink()
    match damage:
        case "shorter":
            path.write_bytes(whole[:-1])
        case "last byte":
            path.write_bytes(whole[:-1] + b" ")
        case "empty":
            path.write_bytes(b"")
    if damage == "folder":
        path.mkdir()
        assert copy.entries() == []
        path.rmdir()
    assert copy.entries() == []
    assert copy.head().sequence == len(told.raws) - 1
    copy.drop_entries()
    assert copy.keep(told.raws)
    assert copy.entries() == told.raws


def test_what_lies_behind_the_head_is_not_believed(copy: LocalCopy, told: Told) -> None:
    """As after a kill between the two writes."""
    copy.keep(told.raws[:9])
    with (copy.folder / "entries").open("ab") as file:
        file.write(told.raws[9] + told.raws[10][:20])
    assert copy.entries() == told.raws[:9]
    copy.keep(told.raws)
    assert copy.entries() == told.raws


@pytest.mark.parametrize("content", [b"", b"{}", b"null", b'{"sequence":3,"digest":"x","length":1}', b"\xff"])
def test_an_unreadable_memory_of_the_head_is_an_alarm(copy: LocalCopy, told: Told, content: bytes) -> None:
    copy.keep(told.raws)
    (copy.folder / "head").write_bytes(content)
    for ask in (copy.head, copy.entries, lambda: copy.keep(told.raws)):
        with pytest.raises(BrokenError, match="would go unnoticed"):
            ask()


def test_a_home_that_cannot_be_written_is_said_and_nothing_is_lost(tmp_path: Path, told: Told) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RefusedError, match="cannot be written"):
        LocalCopy(tmp_path / "file").keep(told.raws)


def test_a_full_disk_leaves_the_copy_as_it_was(copy: LocalCopy, told: Told) -> None:
    copy.keep(told.raws[:9])
    child = os.fork()
    if child == 0:
        import resource
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (copy.head().length + 10,) * 2)
        try:
            copy.keep(told.raws)
        except RefusedError:
            os._exit(7)
        os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7
    assert copy.entries() == told.raws[:9]
    copy.keep(told.raws)
    assert copy.entries() == told.raws
