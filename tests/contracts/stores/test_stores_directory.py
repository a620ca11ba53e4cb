"""What only a folder can meet: links, disks that are full or read-only, crashes between two steps, foreign files."""

import errno
import os
import shutil
import stat
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from relay.errors import BrokenError, MissingError, RefusedError, TransientError
from relay.model import digest_of
from relay.store.directory import DirectoryStore
from relay.store.folder import opened
from relay.store.incoming import INCOMING, own_part
from relay.store.keys import object_key

GOOD, BAD = b"good" * 20_000, b"bad!" * 20_000


@pytest.fixture
def store(tmp_path: Path) -> DirectoryStore:
    return DirectoryStore.founded(tmp_path / "store")


def put(store: DirectoryStore, key: str, body: bytes = GOOD) -> bool:
    return store.create(key, body, digest_of(body))


def parts_of(store: DirectoryStore) -> list[str]:
    return [path.name for path in (store.root / ".incoming").glob("*.part")]


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


class PowerCutError(BaseException):
    """The machine is dead: from here on nothing changes on the disk, not even by way of cleaning up."""


STEPS = ("open", "write", "fchmod", "fsync", "link", "rename", "unlink", "mkdir")


def die_at(monkeypatch: pytest.MonkeyPatch, moment: int, *, after: bool) -> Callable[[], bool]:
    """Let the machine die before, in the middle of, or after the step that is the `moment`th to change the disk."""
    count = 0
    dead = False

    def stepping(name: str, real: Callable) -> Callable:
        def step(*args, **how):
            nonlocal count, dead
            if name == "open" and not args[1] & os.O_CREAT:
                return real(*args, **how)
            if dead:
                raise PowerCutError
            count += 1
            if count < moment:
                return real(*args, **how)
            dead = True
            if after:
                real(*args, **how)
            elif name == "write":
                real(args[0], args[1][: len(args[1]) // 2])
            raise PowerCutError

        return step

    for name in STEPS:
        monkeypatch.setattr(os, name, stepping(name, getattr(os, name)))
    return lambda: dead


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_whatever_step_a_create_dies_at_nothing_half_written_is_seen(tmp_path, monkeypatch, links, after):
    moments = 0
    for moment in range(1, 40):
        store = DirectoryStore.founded(tmp_path / f"{moment}")
        put(store, "probe/other", BAD)
        with monkeypatch.context() as patched:
            if not links:
                patched.setattr(os, "link", _refusing_links)
            died = die_at(patched, moment, after=after)
            with suppress(PowerCutError):
                put(DirectoryStore(store.root), "new/object")
            if not died():
                break
            moments += 1
        again = DirectoryStore(store.root)
        assert again.size("new/object") in (None, len(GOOD))
        put(again, "new/object")
        assert again.read("new/object") == GOOD
        assert again.read("probe/other") == BAD
        assert parts_of(again) == []
    assert moments >= 8


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_whatever_step_a_repair_dies_at_the_bad_bytes_or_the_good_ones_are_there(tmp_path, monkeypatch, after):
    moments = 0
    for moment in range(1, 40):
        store = DirectoryStore.founded(tmp_path / f"{moment}")
        put(store, "probe/frame", BAD)
        with monkeypatch.context() as patched:
            died = die_at(patched, moment, after=after)
            with suppress(PowerCutError):
                DirectoryStore(store.root).replace("probe/frame", GOOD, digest_of(GOOD), digest_of(BAD))
            if not died():
                break
            moments += 1
        again = DirectoryStore(store.root)
        assert again.read("probe/frame") in (GOOD, BAD)
        again.replace("probe/frame", GOOD, digest_of(GOOD), digest_of(BAD))
        assert again.read("probe/frame") == GOOD
        assert parts_of(again) == []
    assert moments >= 5


def _refusing_links(*_args, **_how):
    raise PermissionError(errno.EPERM, "Operation not permitted")


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs /proc to know which file a descriptor means")
@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
def test_bytes_reach_the_disk_before_their_name_and_the_name_before_the_answer(store, monkeypatch, links: bool):
    steps = _recorded(monkeypatch, links=links)
    assert put(store, "new/folder/object")
    steps.append(("answer", ""))

    root = str(store.root.resolve())
    named = steps.index(("named", f"{root}/new/folder/object"))
    synced = [place for place, (what, path) in enumerate(steps) if what == "synced" and path.endswith(".part")]
    assert synced
    assert max(synced) < named
    assert not [step for step in steps[synced[-1] : named] if step[0] == "written"]
    assert ("synced", f"{root}/new/folder") in steps[named:-1]
    for made, parent in (("new", ""), ("new/folder", "/new"), (".incoming", "")):
        place = steps.index(("made", f"{root}/{made}"))
        assert ("synced", f"{root}{parent}") in steps[place:named]


def _recorded(monkeypatch: pytest.MonkeyPatch, *, links: bool) -> list[tuple[str, str]]:
    steps: list[tuple[str, str]] = []
    write, fsync, link, rename, mkdir = os.write, os.fsync, os.link, os.rename, os.mkdir

    def path_of(descriptor: int) -> str:
        return str(Path(f"/proc/self/fd/{descriptor}").readlink())

    def noted_write(descriptor, body):
        steps.append(("written", path_of(descriptor)))
        return write(descriptor, body)

    def noted_fsync(descriptor):
        steps.append(("synced", path_of(descriptor)))
        fsync(descriptor)

    def noted_link(source, target, **how):
        link(source, target, **how) if links else _refusing_links()
        steps.append(("named", f"{path_of(how['dst_dir_fd'])}/{target}"))

    def noted_rename(source, target, **how):
        rename(source, target, **how)
        steps.append(("named", f"{path_of(how['dst_dir_fd'])}/{target}"))

    def noted_mkdir(name, **how):
        mkdir(name, **how)
        steps.append(("made", f"{path_of(how['dir_fd'])}/{name}"))

    noted = {
        "write": noted_write,
        "fsync": noted_fsync,
        "link": noted_link,
        "rename": noted_rename,
        "mkdir": noted_mkdir,
    }
    for name, instead in noted.items():
        monkeypatch.setattr(os, name, instead)
    return steps
