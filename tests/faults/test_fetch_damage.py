"""Wrong bytes in the bucket, on the way, or at arrival: refused, the file named, and nothing under the final name."""

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from relay.errors import RefusedError, TransientError
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.faults import Fault, What, Where
from relay.transfer.fetch import fetch
from relay.transfer.mend import mend
from relay.transfer.notebook import Notebook
from relay.transfer.verify import verify
from tests.contracts.memory_store import MemoryStore
from tests.faults.fetch_house import (
    Failing,
    away_after,
    damaged,
    hidden_in,
    lies_at,
    manifest_of,
    paths_that_need,
    stored,
    unharmed,
)
from tests.faults.send_house import lay_out, package

Case = Callable[[random.Random, dict[str, bytes], Path], None]


def wrong_in_the_bucket(dice: random.Random, files: dict[str, bytes], base: Path) -> None:
    """Some objects hold other bytes, or are gone: every file that needs one is named, then mended, then fetched."""
    store = MemoryStore()
    manifest = stored(store, files)
    true = dict(store._objects)
    while store._objects == true:  # two swaps may cancel out
        harm(store, dice)
    expected = {
        path: digest
        for digest in manifest.objects()
        for path in paths_that_need(manifest, digest)
        if store._objects.get(object_key(digest)) != true[object_key(digest)]
    }
    target = base / "arrived"
    with Notebook(base / "notes") as notebook:
        fetched = fetch(manifest, store, target, notebook, hands=3)
        assert not fetched.whole
        assert {fault.path: fault.expected for fault in fetched.faults} == expected
        assert len(fetched.faults) == len(expected)
        for fault in fetched.faults:
            check_named_as_it_lies(fault, store)
        assert not target.exists()
        good = lay_out(base / "good", files)
        assert {each.digest for each in mend(store, manifest, good, fetched.faults)} == set(expected.values())
        assert store._objects == true
        again = fetch(manifest, store, target, notebook, hands=3)
    assert again.whole
    assert again.fetched_objects == len(set(expected.values()))
    assert lies_at(target) == files


def harm(store: MemoryStore, dice: random.Random) -> None:
    keys = sorted(store._objects)
    for key in dice.sample(keys, dice.randint(1, 2)):
        way = dice.choice(["damage", "damage", "swap", "remove"])
        other = dice.choice([each for each in keys if each != key])
        if way == "remove" or key not in store._objects or other not in store._objects:
            store._objects.pop(key, None)
        elif way == "swap":
            store._objects[key], store._objects[other] = store._objects[other], store._objects[key]
        else:
            store._objects[key] = damaged(store._objects[key], dice)


def check_named_as_it_lies(fault: Fault, store: MemoryStore) -> None:
    lies = store._objects.get(object_key(fault.expected))
    assert fault.where is Where.BUCKET
    assert fault.what is (What.MISSING if lies is None else What.CHANGED)
    assert fault.path in str(fault)
    if fault.found is None:  # nothing there, or more than was to be read
        assert lies is None or fault.detail
    else:
        assert fault.found == digest_of(lies)


def wrong_on_the_way(dice: random.Random, files: dict[str, bytes], base: Path) -> None:
    """An answer that was damaged once is read again; one that comes wrong in two ways is no fault of the bucket."""
    inner = MemoryStore()
    manifest = stored(inner, files)
    keys = sorted(key for key, body in inner._objects.items() if body)
    struck, twice = dice.choice(keys), dice.random() < 0.5

    def reading(key: str, number: int, buffer: memoryview, size: int) -> int:
        if key == struck and number <= (2 if twice else 1):
            at = (number * 7) % size
            buffer[at] ^= number  # not the same fault both times
            return size
        return size

    target = base / "arrived"
    with Notebook(base / "notes") as notebook:
        fetched = fetch(manifest, Failing(inner, reading), target, notebook, hands=3)
    assert fetched.whole is not twice
    if twice:
        digest = struck.rpartition("/")[2]
        assert {fault.path for fault in fetched.faults} == paths_that_need(manifest, digest)
        assert {(fault.where, fault.what) for fault in fetched.faults} == {(Where.ARRIVAL, What.CHANGED)}
        assert not target.exists()
    else:
        assert lies_at(target) == files


def wrong_in_the_hidden_folder(dice: random.Random, files: dict[str, bytes], base: Path) -> None:
    """What an interrupted run left is damaged before the next one: only what is still right is kept."""
    inner = MemoryStore()
    manifest = stored(inner, files)
    target = base / "arrived"
    with Notebook(base / "notes") as notebook:
        # By one hand, so that what was read is written before the store is away: each seed has something to spoil.
        failing = Failing(inner, away_after(dice.randrange(1, len(inner._objects))))
        with pytest.raises(TransientError):
            fetch(manifest, failing, target, notebook, hands=1)
        (hidden,) = hidden_in(base)
        assert any(path.is_file() for path in hidden.rglob("*"))
        spoil(hidden, dice)
        right = {path for path, body in lies_at(hidden).items() if fits(body, files.get(path))}
        fetched = fetch(manifest, store := Failing(inner, unharmed), target, notebook, hands=2)
    assert fetched.whole
    assert lies_at(target) == files
    assert fetched.kept_bytes == sum(len(files[path]) for path in right)
    needed = {object_key(digest_of(body)) for path, body in files.items() if path not in right}
    assert set(store.reads) == needed


def fits(body: bytes | str, wanted: bytes | None) -> bool:
    """Answer whether `body` is `wanted` once it was cut or lengthened to its size."""
    return wanted is not None and isinstance(body, bytes) and body[: len(wanted)].ljust(len(wanted), b"\0") == wanted


def spoil(folder: Path, dice: random.Random) -> None:
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    for path in dice.sample(paths, min(len(paths), dice.randint(1, 3))):
        way = dice.choice(["damage", "damage", "swap", "remove", "link", "folder"])
        other = dice.choice(paths)
        if way == "damage":
            path.write_bytes(damaged(path.read_bytes(), dice))
        elif way == "swap" and other.is_file():
            path.write_bytes(other.read_bytes())
        else:
            path.unlink()
            if way == "link":
                path.symlink_to(other)
            elif way == "folder":
                (path / "inside").mkdir(parents=True)
                (path / "inside" / "stranger").write_bytes(b"?")
    (folder / "stranger").write_bytes(b"left by nobody")


def wrong_where_it_arrived(dice: random.Random, files: dict[str, bytes], base: Path) -> None:
    """What lies at the final name was damaged later: `verify` names just that, and a fetch touches none of it."""
    store = MemoryStore()
    manifest = stored(store, files)
    target = lay_out(base / "arrived", files)
    spoil(target, dice)
    lies = lies_at(target)
    expected = {path for path in files.keys() | lies.keys() if lies.get(path) != files.get(path)}
    faults = verify(target, manifest, hands=3)
    assert {fault.path for fault in faults} == expected
    assert len(faults) == len(expected)
    for fault in faults:
        assert fault.found == (digest_of(lies[fault.path]) if fault.what is What.CHANGED else None)
    with Notebook(base / "notes") as notebook, pytest.raises(RefusedError, match="Nothing was changed") as refused:
        fetch(manifest, store, target, notebook)
    assert faults[0].path in str(refused.value)
    assert lies_at(target) == lies
    assert hidden_in(base) == []


def run_cases(case: Case, base: Path, seeds: range) -> None:
    for seed in seeds:
        place = base / str(seed)
        place.mkdir()
        try:
            case(random.Random(seed), package(seed), place)
        except BaseException as fault:
            fault.add_note(f"{case.__name__}, seed {seed}")
            raise
        shutil.rmtree(place)


CASES = [wrong_in_the_bucket, wrong_on_the_way, wrong_in_the_hidden_folder, wrong_where_it_arrived]


@pytest.mark.parametrize("case", CASES)
def test_wrong_bytes_are_refused_wherever_they_are_found(case, tmp_path):
    run_cases(case, tmp_path, range(60))


@pytest.mark.soak
@pytest.mark.parametrize("case", CASES)
def test_of_10000_wrong_packages_none_is_accepted(case, tmp_path):
    """2,500 of each kind."""
    run_cases(case, tmp_path, range(1000, 3500))


def test_a_manifest_that_says_more_than_was_sent_is_never_whole(tmp_path):
    store = MemoryStore()
    files = {"frames/A_R01.0086400.dpx": b"one", "frames/A_R01.0086401.dpx": b"two"}
    stored(store, {"frames/A_R01.0086400.dpx": b"one"})
    with Notebook(tmp_path / "notes") as notebook:
        fetched = fetch(manifest_of(files), store, tmp_path / "arrived", notebook)
    assert [(fault.path, fault.what) for fault in fetched.faults] == [("frames/A_R01.0086401.dpx", What.MISSING)]
    assert not (tmp_path / "arrived").exists()
