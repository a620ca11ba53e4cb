"""A disk that is full, read-only, or not ours: a clear sentence, nothing half under a final name, and no loss."""

import errno
import json
import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.errors import MissingError, RefusedError, TransientError
from relay.media.manifest import Manifest
from relay.transfer.fetch import fetch
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import MemoryStore
from tests.faults.disks import memory_disk, mounted, or_skip, own_disk
from tests.faults.fetch_house import Failing, hidden_in, lies_at, stored, unharmed
from tests.faults.send_child import store_of

ROOT = Path(__file__).parents[2]
NOBODY = 65534

FILES = {f"frames/A_R01.{86400 + n:07d}.dpx": random.Random(n).randbytes(2_000_000) for n in range(10)}


class FillsUp(Failing):
    """A store during whose `when`th read some other program takes all the room there is on the disk."""

    def __init__(self, inner: MemoryStore, disk: Path, when: int) -> None:
        super().__init__(inner, self.fill)
        self.other = disk / "another program's file"
        self._when = when

    def fill(self, _key: str, _number: int, _buffer: memoryview, size: int) -> int:
        if self.reads.total() == self._when:
            with self.other.open("wb", buffering=0) as file:
                for step in (1_000_000, 4096, 1):
                    while written(file.fileno(), step):
                        pass
        return size


def written(descriptor: int, size: int) -> bool:
    try:
        return os.write(descriptor, bytes(size)) > 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        return False


def store_with_files() -> tuple[MemoryStore, Manifest]:
    store = MemoryStore()
    return store, stored(store, FILES)


def check_a_disk_that_fills_up(disk: Path, notes: Path) -> None:
    store, manifest = store_with_files()
    filling = FillsUp(store, disk, when=5)
    with Notebook(notes) as notebook:
        with pytest.raises(TransientError, match=r"frames/.*No space left on device.*Make room") as full:
            fetch(manifest, filling, disk / "arrived", notebook, hands=2)
        assert full.value.exit_code == 75
        assert not (disk / "arrived").exists()
        filling.other.unlink()
        again = fetch(manifest, Failing(store, unharmed), disk / "arrived", notebook, hands=2)
    assert again.whole
    assert again.kept_bytes >= 2 * 2_000_000, "what had landed was fetched again"
    assert lies_at(disk / "arrived") == FILES


def test_a_disk_in_memory_that_fills_up_keeps_what_landed(tmp_path):
    with or_skip(), memory_disk(tmp_path / "disk", 64_000_000) as disk:
        check_a_disk_that_fills_up(disk, tmp_path / "notes")


@pytest.mark.parametrize("kind", ["ext4", "xfs"])
def test_a_disk_that_fills_up_keeps_what_landed(kind, tmp_path):
    with or_skip(), own_disk(tmp_path, kind) as disk:
        check_a_disk_that_fills_up(disk, tmp_path / "notes")


def test_nothing_is_begun_where_there_is_too_little_room(tmp_path):
    store, manifest = store_with_files()
    watched = Failing(store, unharmed)
    with or_skip(), memory_disk(tmp_path / "disk", 10_000_000) as disk, Notebook(tmp_path / "notes") as notebook:
        with pytest.raises(TransientError, match=r"needs 20,000,000 bytes more, where only [\d,]+ are free") as refused:
            fetch(manifest, watched, disk / "arrived", notebook)
        assert "Nothing was begun" in str(refused.value)
        assert watched.reads.total() == 0
        assert list(disk.iterdir()) == []


def test_what_landed_before_needs_no_room_again(tmp_path):
    """12 MB of 20 have landed; the 8 that are missing fit into the 11 that are left."""
    store, manifest = store_with_files()
    with or_skip(), memory_disk(tmp_path / "disk", 24_000_000) as disk, Notebook(tmp_path / "notes") as notebook:

        def reading(_key: str, _number: int, _buffer: memoryview, size: int) -> int:
            if failing.reads.total() > 6:
                raise TransientError("the store is away")
            return size

        failing = Failing(store, reading)
        with pytest.raises(TransientError, match="away"):
            fetch(manifest, failing, disk / "arrived", notebook, hands=1)
        assert fetch(manifest, store, disk / "arrived", notebook, hands=1).kept_bytes == 12_000_000


def test_a_disk_that_may_only_be_read_is_refused(tmp_path):
    store, manifest = store_with_files()
    (tmp_path / "drive").mkdir()
    with or_skip(), mounted(tmp_path / "disk", "--bind", tmp_path / "drive") as disk:
        subprocess.run(["mount", "-o", "remount,bind,ro", disk], check=True)
        notebook, expected = Notebook(tmp_path / "notes"), pytest.raises(RefusedError, match="Read-only file system")
        with notebook, expected as refused:
            fetch(manifest, store, disk / "arrived", notebook)
    assert str(disk) in str(refused.value)
    assert refused.value.exit_code == 2
    assert list((tmp_path / "drive").iterdir()) == []


@pytest.fixture
def open_path() -> Iterator[Path]:
    """A folder into which other users may look, which pytest's own are not."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def fetched_by_nobody(base: Path, target: Path) -> dict[str, str]:
    """Fetch as a user who owns nothing; return what that printed."""
    where = ["directory", str(base / "bucket")]
    manifest = stored(store_of(*where), {"a.dpx": b"a frame"})
    (base / "manifest").write_bytes(manifest.encode())
    home = base / "home"
    home.mkdir()
    if os.geteuid() == 0:
        os.chown(home, NOBODY, NOBODY)
    places = [base / "manifest", target, home / "notes", home / "log", "2"]
    command = [sys.executable, "-m", "tests.faults.fetch_as", str(NOBODY), *places, *where]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stdout, done.stderr
    return {**json.loads(done.stdout), "code": str(done.returncode)}


def test_a_folder_that_is_not_ours_to_write_to_is_refused(open_path):
    target = open_path / "closed" / "arrived"
    target.parent.mkdir(mode=0o555)
    said = fetched_by_nobody(open_path, target)
    assert said["error"] == "RefusedError"
    assert said["code"] == "2"
    assert "Permission denied" in said["says"]
    assert str(target.parent) in said["says"]
    assert list(target.parent.iterdir()) == []


def test_a_hidden_folder_that_is_not_ours_is_refused_and_left_alone(open_path):
    target = open_path / "open" / "arrived"
    hidden = target.parent / ".relay-incoming-arrived"
    hidden.mkdir(parents=True, mode=0o755)
    (hidden / "a.dpx").write_bytes(b"another user's")
    if os.geteuid() != 0:
        pytest.skip("only root can make a folder that is another user's")
    target.parent.chmod(0o777)
    said = fetched_by_nobody(open_path, target)
    assert (said["error"], said["code"]) == ("RefusedError", "2")
    assert (hidden / "a.dpx").read_bytes() == b"another user's"
    assert not target.exists()


def test_a_folder_that_is_not_there_is_not_made_up(tmp_path):
    """A drive that is not connected must not become a folder on the machine's own disk."""
    store, manifest = store_with_files()
    with Notebook(tmp_path / "notes") as notebook, pytest.raises(MissingError, match="Is the drive connected"):
        fetch(manifest, store, tmp_path / "drive" / "arrived", notebook)
    assert hidden_in(tmp_path) == []
