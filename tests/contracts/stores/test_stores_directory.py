"""What only a folder can meet: links, disks that are full or read-only, sweeping, foreign files."""

import errno
import os
import shutil
import stat
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from relay.errors import BrokenError, MissingError, RefusedError, TransientError
from relay.model import digest_of
from relay.store.directory import DirectoryStore
from relay.store.folder import opened
from relay.store.incoming import INCOMING, own_part
from relay.store.keys import object_key
from tests.contracts.stores.folders import BAD, GOOD, parts_of, put


@pytest.fixture
def store(tmp_path: Path) -> DirectoryStore:
    return DirectoryStore.founded(tmp_path / "store")


def test_objects_are_plain_read_only_files_that_sha256sum_can_check(store: DirectoryStore):
    for number in range(20):
        body = b"%d" % number
        assert put(store, object_key(digest_of(body)), body)
    files = [path for path in (store.root / "by-digest").rglob("*") if path.is_file()]
    told = subprocess.run(["sha256sum", *files], capture_output=True, check=True, text=True).stdout
    assert len(files) == 20
    assert all(line.split()[0] == Path(line.split()[1]).name for line in told.splitlines())
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o444}


def test_a_store_may_be_copied_to_a_drive_and_read_there(store: DirectoryStore, tmp_path: Path):
    put(store, "entries/0000000001")
    shutil.copytree(store.root, tmp_path / "drive")
    copy = DirectoryStore(tmp_path / "drive")
    assert copy.read("entries/0000000001") == GOOD
    assert not put(copy, "entries/0000000001", BAD)


def test_what_is_no_object_is_not_listed(store: DirectoryStore):
    put(store, "entries/0000000001")
    for name in (b"Thumbs.db", b".DS_Store", b"caf\xe9", b"desktop.ini.", b"a b"):
        (store.root / "entries" / os.fsdecode(name)).write_bytes(b"junk")
    os.mkfifo(store.root / "entries" / "pipe")
    (store.root / "entries" / "link").symlink_to(store.root / "entries" / "0000000001")
    assert [line.key for line in store.list("")] == ["entries/0000000001", "entries/desktop.ini."]


def test_no_link_leads_out_of_the_folder(store: DirectoryStore, tmp_path: Path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "0000000001").write_bytes(BAD)
    (store.root / "entries").symlink_to(outside)
    (store.root / "probe").mkdir()
    (store.root / "probe" / "leaf").symlink_to(outside / "0000000001")
    digest = digest_of(GOOD)
    for key in ("entries/0000000001", "entries/0000000002", "probe/leaf"):
        for call in (
            lambda key=key: store.create(key, GOOD, digest),
            lambda key=key: store.read(key),
            lambda key=key: store.read_into(key, memoryview(bytearray(1_000_000))),
            lambda key=key: store.replace(key, GOOD, digest, digest_of(BAD)),
        ):
            with pytest.raises(BrokenError, match="altered the folder"):
                call()
    assert list(store.list("")) == []
    assert store.size("probe/leaf") is None
    assert {path.name: path.read_bytes() for path in outside.iterdir()} == {"0000000001": BAD}


def test_a_pipe_under_an_object_s_name_holds_nobody_up(store: DirectoryStore):
    (store.root / "probe").mkdir()
    os.mkfifo(store.root / "probe" / "pipe")
    with pytest.raises(BrokenError, match="not a regular file"):
        store.read("probe/pipe")


def test_a_file_in_the_way_of_a_folder_is_named(store: DirectoryStore):
    put(store, "a", b"")
    with pytest.raises(RefusedError, match=r"create a/b: .*in the way"):
        put(store, "a/b", b"")
    put(store, "c/d", b"")
    with pytest.raises(RefusedError, match=r"create c: .*in the way"):
        put(store, "c", b"")


def test_a_missing_folder_is_a_drive_that_is_not_connected(tmp_path: Path):
    away = DirectoryStore(tmp_path / "drive")
    (tmp_path / "file").write_bytes(b"")
    for store in (away, DirectoryStore(tmp_path / "file")):
        for call in (
            lambda store=store: put(store, "a"),
            lambda store=store: store.read("a"),
            lambda store=store: store.size("a"),
            lambda store=store: list(store.list("")),
            lambda store=store: store.replace("a", GOOD, digest_of(GOOD), digest_of(BAD)),
            lambda store=store: store.now(),
        ):
            with pytest.raises(MissingError, match="drive connected"):
                call()
    assert not away.root.exists()


def test_a_folder_that_is_removed_meanwhile_is_made_again(store: DirectoryStore):
    put(store, "probe/one")
    shutil.rmtree(store.root / "probe")
    with suppress(TransientError):  # once at most
        put(store, "probe/two")
    put(store, "probe/two")
    assert store.read("probe/two") == GOOD


def test_what_a_dead_writer_left_is_swept_and_a_living_writer_s_is_not(store: DirectoryStore):
    put(store, "probe/first")
    (store.root / ".incoming" / "0123456789abcdef.part").write_bytes(b"half")
    with opened(store.root, INCOMING) as incoming, own_part(incoming) as (part, _):
        put(DirectoryStore(store.root), "probe/second")
        assert parts_of(store) == [part]
    put(DirectoryStore(store.root), "probe/third")
    assert parts_of(store) == []


def test_a_writer_whose_hidden_file_is_swept_before_it_is_locked_takes_another(store, monkeypatch):
    put(store, "probe/first")
    lock = os.fstat
    swept = []

    def sweep_first(descriptor: int) -> os.stat_result:
        if not swept:
            swept.extend(parts_of(store))
            (store.root / ".incoming" / swept[0]).unlink()
        return lock(descriptor)

    monkeypatch.setattr(os, "fstat", sweep_first)
    assert put(store, "probe/second")
    assert swept
    assert store.read("probe/second") == GOOD


@pytest.mark.parametrize("code", [errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS])
def test_a_disk_without_links_is_written_under_a_lock(store: DirectoryStore, monkeypatch, code: int):
    """exFAT answers EPERM; shares and FUSE the others (Linux man-pages, link(2))."""

    def no_links(*_args, **_how):
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "link", no_links)
    assert put(store, "probe/a")
    assert not put(store, "probe/a", BAD)
    assert store.read("probe/a") == GOOD
    assert parts_of(store) == []


FULL = [errno.ENOSPC, errno.EDQUOT]


@pytest.mark.parametrize("code", FULL)
@pytest.mark.parametrize("step", ["write", "fsync", "link", "mkdir", "open"])
def test_a_full_disk_is_said_and_leaves_nothing_half_written(store, monkeypatch, code: int, step: str):
    put(store, "probe/there")

    def full(*args, **how):
        if step == "open" and not args[1] & os.O_CREAT:
            return real(*args, **how)
        raise OSError(code, os.strerror(code))

    real = getattr(os, step)
    with monkeypatch.context() as patched:
        patched.setattr(os, step, full)
        with pytest.raises(TransientError, match="Make room"):
            put(store, "new/object")
        if step not in {"mkdir", "link"}:  # which a repair does not take
            with pytest.raises(TransientError, match="Make room"):
                store.replace("probe/there", BAD, digest_of(BAD), digest_of(GOOD))
    assert store.size("new/object") is None
    assert store.read("probe/there") == GOOD
    assert parts_of(store) == []
    assert put(store, "new/object")


@contextmanager
def small_disk(where: Path, options: str) -> Iterator[None]:
    where.mkdir(exist_ok=True)
    if shutil.which("mount") is None or os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "none", where], capture_output=True, check=False
    ).returncode:
        pytest.skip("this machine lets nobody mount a small disk")
    try:
        yield
    finally:
        subprocess.run(["umount", where], check=True)


def test_a_disk_that_fills_up_keeps_what_it_has(tmp_path: Path):
    with small_disk(tmp_path / "disk", "size=1m"):
        store = DirectoryStore(tmp_path / "disk")
        stored = []

        def fill() -> None:
            while put(store, f"probe/{len(stored)}"):
                stored.append(f"probe/{len(stored)}")

        with pytest.raises(TransientError, match=r"No space left on device.*Make room"):
            fill()
        assert 2 < len(stored) < 20
        assert [line.key for line in store.list("")] == sorted(stored)
        assert all(store.read(key) == GOOD for key in stored)
        assert parts_of(store) == []


def test_a_read_only_disk_is_read_and_not_written(tmp_path: Path):
    with small_disk(tmp_path / "disk", "size=1m"):
        put(DirectoryStore(tmp_path / "disk"), "probe/a")
        subprocess.run(["mount", "-o", "remount,ro", tmp_path / "disk"], check=True)
        store = DirectoryStore(tmp_path / "disk")
        assert store.read("probe/a") == GOOD
        assert [line.key for line in store.list("")] == ["probe/a"]
        assert store.now().tzinfo is not None
        with pytest.raises(RefusedError, match=r"Read-only file system.*name a folder where you have it"):
            put(store, "probe/b")
        with pytest.raises(RefusedError, match="Read-only"):
            store.replace("probe/a", BAD, digest_of(BAD), digest_of(GOOD))


@pytest.fixture
def nobody() -> Iterator[None]:
    """Not root, whom no permission stops."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_without_the_right_to_write_nothing_is_written(store, tmp_path: Path, monkeypatch, request):
    put(store, "probe/a")
    for folder in (store.root, store.root / "probe", store.root / ".incoming"):
        folder.chmod(0o555)
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_uid == os.geteuid() and len(folder.parts) > 2:
            folder.chmod(folder.stat().st_mode | 0o055)
    request.getfixturevalue("nobody")
    other = DirectoryStore(store.root)
    assert other.read("probe/a") == GOOD
    with pytest.raises(RefusedError, match=r"Permission denied.*Ask for the right"):
        put(other, "probe/b")
    with pytest.raises(RefusedError, match="Permission denied"):
        DirectoryStore.founded(store.root / "new")


def test_a_store_cannot_be_founded_where_a_file_lies_or_no_folder_can_be(tmp_path: Path):
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "astray").symlink_to(tmp_path / "nowhere" / "else")
    nowhere = [Path("/proc/nowhere")] if Path("/proc").is_dir() else []
    for place in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / "astray" / "below", *nowhere):
        with pytest.raises(RefusedError, match=r"in the way|Name another place"):
            DirectoryStore.founded(place)
