"""Wrong bytes that lie in the bucket under a digest, or that the disk gives back: never built upon, always named."""

import random
from pathlib import Path

import pytest

from relay.errors import BrokenError
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.deposit import deposit
from relay.transfer.folder import survey
from relay.transfer.notebook import Hashed, Notebook
from tests.contracts.memory_store import MemoryStore
from tests.faults.send_house import LaterClock, Watched, hashes_on_disk, lay_out, manifests_in, package


def damaged(body: bytes, other: bytes, dice: random.Random) -> bytes:
    """Return `body` with one fault: a bit flipped, a byte lost or too many, another file's bytes, or nothing."""
    flipped = bytearray(body)
    flipped[dice.randrange(len(body))] ^= 1 << dice.randrange(8)
    at = dice.randrange(len(body) + 1)
    ways = [
        bytes(flipped),
        body[:-1],
        body[1:],
        body[:at] + b"x" + body[at:],
        other,
        b"",
        body + bytes(dice.randint(1, 9000)),
    ]
    return dice.choice([wrong for wrong in ways if wrong != body])


def wrong_bytes_in_the_bucket(seed: int, base: Path) -> None:
    """One case: before we send, another site has put wrong bytes under one of our digests, or nothing at all."""
    dice = random.Random(seed)
    files = {path: body for path, body in package(seed).items() if body}
    folder = lay_out(base / "reel", files)
    body = dice.choice(sorted(files.values()))
    other = dice.choice([held for held in files.values() if held != body])
    digest, key = digest_of(body), object_key(digest_of(body))
    inner = MemoryStore()
    inner._objects[key] = wrong = damaged(body, other, dice)
    expected = {digest} if dice.random() < 0.5 else frozenset()
    store = Watched(inner)
    with Notebook(base / "notes") as notebook:
        for _ in range(2):
            with pytest.raises(BrokenError) as broken:
                deposit(folder, store, notebook, hands=3, expected=expected)
            names = [name for name, held in files.items() if held == body]
            assert any(repr(name) in str(broken.value) for name in names), str(broken.value)
            assert key in str(broken.value)
        assert manifests_in(inner) == []
        assert inner.read(key) == wrong
        assert store.puts[key] == (0 if expected else 2)
        # Mended, by whoever may: the same call goes on and believes it once it was read.
        inner._objects[key] = body
        done = deposit(folder, store, notebook, hands=3, expected=expected)
    assert {file.path: file.digest for file in done.manifest.files} == hashes_on_disk(folder)
    assert store.reads[key] == 3


def run_cases(tmp_path: Path, seeds: range) -> None:
    for seed in seeds:
        base = tmp_path / str(seed)
        base.mkdir()
        try:
            wrong_bytes_in_the_bucket(seed, base)
        except BaseException as fault:
            fault.add_note(f"seed {seed}")
            raise


def test_wrong_bytes_under_a_digest_are_named_with_the_file_that_needs_it(tmp_path):
    run_cases(tmp_path, range(100))


@pytest.mark.soak
def test_of_3000_wrong_objects_none_is_built_upon(tmp_path):
    run_cases(tmp_path, range(1000, 4000))


def test_an_object_that_others_say_is_there_is_read_and_not_sent(tmp_path):
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"a" * 1000, "b.dpx": b"b" * 1000})
    inner = MemoryStore()
    a, b = (object_key(digest_of(letter * 1000)) for letter in (b"a", b"b"))
    inner.create(a, b"a" * 1000, digest_of(b"a" * 1000))
    store = Watched(inner)
    expected = {digest_of(b"a" * 1000), digest_of(b"b" * 1000)}
    with Notebook(tmp_path / "notes") as notebook:
        done = deposit(folder, store, notebook, expected=expected)
    assert (store.puts[a], store.reads[a]) == (0, 1)
    assert (store.puts[b], store.reads[b]) == (1, 0)  # said to be there, but it was not
    assert (done.sent_objects, done.already_there) == (2, 1)  # b and the manifest; a


def test_a_bucket_that_was_emptied_behind_our_back_is_filled_again(tmp_path):
    folder = lay_out(tmp_path / "reel", package(3))
    store = MemoryStore()
    with Notebook(tmp_path / "notes") as notebook:
        first = deposit(folder, store, notebook, clock=LaterClock())
        store._objects.clear()
        second = deposit(folder, store, notebook, clock=LaterClock())
        assert second.manifest == first.manifest
        assert second.sent_objects == first.sent_objects == len(store._objects)
        assert deposit(folder, store, notebook, clock=LaterClock()).sent_objects == 0


def test_a_file_whose_bytes_changed_behind_an_unmoved_stamp_is_named(tmp_path):
    """As when a disk rots: the notebook knows another hash for just this stamp."""
    folder = lay_out(tmp_path / "reel", {"a.dpx": b"rotten", "b.dpx": b"good"})
    path, clock = str(folder / "a.dpx"), LaterClock()
    stamp = survey(folder).files["a.dpx"]
    with Notebook(tmp_path / "notes") as notebook:
        notebook.remember(path, stamp, Hashed(digest_of(b"sound!")), clock.now())
        store = MemoryStore()
        with pytest.raises(BrokenError, match=r"a\.dpx") as broken:
            deposit(folder, store, notebook)
        assert digest_of(b"rotten") in str(broken.value)
        assert digest_of(b"sound!") in str(broken.value)
        assert manifests_in(store) == []
        assert deposit(folder, store, notebook, rehash=True).manifest.by_path["a.dpx"].digest == digest_of(b"rotten")


def test_a_damaged_notebook_says_that_it_may_be_deleted(tmp_path):
    notes = tmp_path / "notes"
    notes.write_bytes(b"no database " * 500)
    with pytest.raises(BrokenError, match="delete it") as broken:
        Notebook(notes)
    assert str(notes) in str(broken.value)
