"""What every store does with keys, bodies, lists and repairs, besides its promises."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, timedelta

import pytest

from relay.clock import SYSTEM_CLOCK
from relay.errors import BrokenError, MissingError, RefusedError
from relay.model import digest_of
from relay.store.keys import bundle_key, entry_key, object_key
from relay.store.port import Listed, Store
from tests.contracts.stores.rigs import Rig

FRAME = 12_748_800  # bytes: 2048 x 1556, 10-bit RGB in a DPX; see the references, section 2

POSSIBLE_KEYS = ["a", "0", "-", "_", "a.b", "a..b", "a-/b", "x/-/_", "dpx.", "q" * 100, "/".join(["p" * 99] * 4)]

IMPOSSIBLE_KEYS = [
    "",
    "/",
    "/etc/passwd",
    "a/",
    "a//b",
    ".",
    "..",
    "../a",
    "a/../b",
    "a/..",
    "./a",
    ".incoming/lock",
    "a/.hidden",
    "a\\b",
    "a b",
    "a\n",
    "a\0",
    "A",
    "\u00e9",
    "e\u0301",
    "a%2fb",
    "c:",
    "~",
    "q" * 101,
    "/".join(["p" * 99] * 4) + "pp",
]


def put(store: Store, key: str, body: bytes) -> None:
    assert store.create(key, body, digest_of(body))


def test_a_plain_key_is_kept_under_its_own_name(store: Store):
    for key in POSSIBLE_KEYS:
        put(store, key, key.encode())
        assert store.read(key) == key.encode()
        assert list(store.list(key)) == [Listed(key, len(key))]
        store.discard(key)


def test_keys_have_the_form_that_is_written_down(store: Store):
    digest = digest_of(b"a frame")
    keys = [object_key(digest), entry_key(42), bundle_key(1, 500)]
    assert keys == [f"by-digest/{digest[:2]}/{digest}", "entries/0000000042", "bundles/0000000001-500"]
    for key in keys:
        put(store, key, b"a frame")
    assert [line.key for line in store.list("")] == sorted(keys)


@pytest.mark.parametrize(
    "call",
    [
        lambda store, key: store.create(key, b"", digest_of(b"")),
        lambda store, key: store.read(key),
        lambda store, key: store.read_into(key, memoryview(bytearray(1))),
        lambda store, key: store.size(key),
        lambda store, key: store.replace(key, b"", digest_of(b""), digest_of(b"")),
        lambda store, key: store.discard(key),
    ],
    ids=["create", "read", "read into", "size", "replace", "discard"],
)
def test_an_impossible_key_is_refused(store: Store, call: Callable[[Store, str], object]):
    for key in IMPOSSIBLE_KEYS:
        with pytest.raises(RefusedError, match="cannot name an object"):
            call(store, key)
    assert list(store.list("")) == []


def test_a_body_of_any_size_comes_back(store: Store):
    for size in (0, 1, 2, 65_536, 262_144, 262_145, FRAME):
        key = f"probe/{size}"
        body = (b"0123456789abcdef" * (size // 16 + 1))[:size]
        put(store, key, body)
        assert store.read(key) == body
        assert store.size(key) == size
        assert list(store.list(key)) == [Listed(key, size)]
        roomy, exact = bytearray(b"\xff" * (size + 3)), bytearray(size)
        assert store.read_into(key, memoryview(roomy)) == size
        assert roomy == body + b"\xff\xff\xff"
        assert store.read_into(key, memoryview(exact)) == size
        assert exact == body
        store.discard(key)


def test_a_body_may_be_any_bytes_like_thing(store: Store):
    plain = bytes(range(256)) * 300
    for number, body in enumerate([plain, bytearray(plain), memoryview(plain), memoryview(b"x" + plain + b"x")[1:-1]]):
        assert store.create(f"probe/{number}", body, digest_of(plain))
        assert store.read(f"probe/{number}") == plain


def test_an_object_larger_than_allowed_is_not_read(store: Store):
    put(store, "probe/large", b"12345")
    assert store.read("probe/large", limit=5) == b"12345"
    with pytest.raises(BrokenError, match=r"probe/large holds 5 bytes, where at most 4 were expected"):
        store.read("probe/large", limit=4)
    untouched = bytearray(b"\xff" * 4)
    with pytest.raises(BrokenError, match=r"5 bytes"):
        store.read_into("probe/large", memoryview(untouched))
    assert untouched == b"\xff" * 4
    assert store.read("probe/large") == b"12345"


def test_what_is_not_there_is_missing(store: Store):
    put(store, "entries/0000000001", b"")
    for key in ("entries/0000000002", "entries", "nowhere/at/all"):
        with pytest.raises(MissingError):
            store.read(key)
        with pytest.raises(MissingError):
            store.read_into(key, memoryview(bytearray(8)))
        assert store.size(key) is None
    assert list(store.list("nowhere/")) == []
    assert list(store.list("entries/0000000002")) == []


def test_a_list_has_the_order_of_the_bytes_and_goes_on_after_any_key(store: Store, rig: Rig):
    """1,000 keys is the most that one answer of S3 lists: the API reference of ListObjectsV2, MaxKeys."""
    digest, page = digest_of(b""), rig.page
    keys = [entry_key(number) for number in range(1, page + 204)]
    with ThreadPoolExecutor(8) as pool:
        assert all(pool.map(lambda key: store.create(key, b"", digest), keys))
    assert [line.key for line in store.list("entries/")] == keys
    for place in (0, 199, page - 1, page, page + 202):
        assert [line.key for line in store.list("entries/", after=keys[place])] == keys[place + 1 :]
    assert [line.key for line in store.list("entries/", after=f"{entry_key(page)}5")] == keys[page:]
    assert [line.key for line in store.list(entry_key(page + 100)[:-2])] == keys[page + 99 : page + 199]
    assert list(store.list("entries/", after=entry_key(9999))) == []
    assert [line.key for line in store.list("entries/", after="a")] == keys
    assert [line.key for line in store.list("", after="f")] == []


def test_a_list_crosses_folders_in_order(store: Store):
    digest = digest_of(b"")
    keys = [f"by-digest/{a:x}{b:x}/{a:x}{b:x}{c}" for a in range(16) for b in (1, 9, 10) for c in ("a", "b.b", "b_")]
    with ThreadPoolExecutor(8) as pool:
        assert all(pool.map(lambda key: store.create(key, b"", digest), reversed(keys)))
    assert [line.key for line in store.list("")] == sorted(keys)
    for place in range(0, len(keys), 13):
        after = sorted(keys)[place]
        assert [line.key for line in store.list("by-digest/", after=after)] == sorted(keys)[place + 1 :]
    assert [line.key for line in store.list("by-digest/a")] == [key for key in sorted(keys) if key[10] == "a"]


def test_names_that_mix_folders_and_dashes_are_listed_in_order_or_not_at_all(store: Store):
    """SeaweedFS lists `a/c` before `a-b`. Nothing of ours is named so; whoever does it is told, rather than misled."""
    keys = ["a-b", "a.b", "a/b", "a/c", "ab"]
    for key in keys:
        put(store, key, b"")
    try:
        assert [line.key for line in store.list("")] == keys
    except BrokenError as error:
        assert "order of their bytes" in str(error)  # noqa: PT017  both are right


def test_a_repair_replaces_exactly_the_bad_bytes(store: Store, second: Store):
    good, bad = b"as it was scanned", b"as it was scammed"
    put(store, "probe/frame", bad)
    assert not store.replace("probe/frame", good, digest_of(good), digest_of(b"something else"))
    assert second.read("probe/frame") == bad
    assert store.replace("probe/frame", good, digest_of(good), digest_of(bad))
    assert second.read("probe/frame") == good
    assert not store.replace("probe/frame", bad, digest_of(bad), digest_of(bad))
    assert second.read("probe/frame") == good
    assert not created_by(store, "probe/frame")


def created_by(store: Store, key: str) -> bool:
    return store.create(key, b"new", digest_of(b"new"))


def test_a_repair_of_what_is_not_there_creates_nothing(store: Store):
    assert not store.replace("probe/none", b"good", digest_of(b"good"), digest_of(b"bad"))
    assert store.size("probe/none") is None


def test_of_many_repairs_at_once_at_least_one_takes_effect_and_what_lies_there_is_whole(store: Store):
    bad = b"bad" * 50_000
    good = [bytes([number]) * 150_000 for number in range(6)]
    put(store, "probe/frame", bad)
    with ThreadPoolExecutor(len(good)) as pool:
        done = list(pool.map(lambda body: store.replace("probe/frame", body, digest_of(body), digest_of(bad)), good))
    assert any(done)
    assert store.read("probe/frame") in [body for body, took in zip(good, done, strict=True) if took]


def test_a_trace_is_removed_once_and_for_all(store: Store, second: Store):
    put(store, "probe/trace", b"1")
    store.discard("probe/trace")
    store.discard("probe/trace")
    assert second.size("probe/trace") is None
    put(second, "probe/trace", b"2")


def test_an_entry_cannot_be_removed(store: Store):
    put(store, entry_key(1), b"said")
    with pytest.raises(RefusedError, match="never removed"):
        store.discard(entry_key(1))
    assert store.read(entry_key(1)) == b"said"


def test_the_store_tells_its_time_in_utc_to_the_second(store: Store):
    told = store.now()
    assert told.tzinfo is UTC
    assert told.microsecond == 0
    # One and the same machine: S3 would refuse every request beyond 15 minutes (RequestTimeTooSkewed, API reference).
    assert abs(told - SYSTEM_CLOCK.now()) < timedelta(minutes=15)


def test_many_threads_may_use_one_store_for_everything_at_once(store: Store):
    def work(number: int) -> bool:
        body = b"%d" % number * 1000
        key = object_key(digest_of(body))
        return (
            store.create(key, body, digest_of(body))
            and store.size(key) == len(body)
            and store.read(key) == body
            and any(line.key == key for line in store.list(key[:12]))
        )

    with ThreadPoolExecutor(16) as pool:
        assert all(pool.map(work, range(100)))
