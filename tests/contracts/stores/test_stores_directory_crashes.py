"""A folder whose machine dies at any step, and the order in which bytes and names reach the disk."""

import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from relay.model import digest_of
from relay.store.directory import DirectoryStore
from tests.contracts.stores.folders import BAD, GOOD, parts_of, put
from tests.contracts.stores.rigs import refuse_links


@pytest.fixture
def store(tmp_path: Path) -> DirectoryStore:
    return DirectoryStore.founded(tmp_path / "store")


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
                patched.setattr(os, "link", refuse_links)
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
        link(source, target, **how) if links else refuse_links()
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
