"""A store that is away, shut, spoiled or rolled back: the right exit code, one sentence, and nothing lost."""

import base64
import hashlib
import json
import shutil
from pathlib import Path

import pytest

from relay.ledger.keys import key_id, load_pen
from tests.acceptance.command import Forker, environment
from tests.acceptance.house import House, contents
from tests.servers.process import free_port
from tests.servers.s3 import S3Server

ASKING = (
    ("reel", "list"),
    ("send", "scan", "A/R01", "--at-once"),
    ("fetch", "A/R01", "arrived"),
    ("mend", "A/R01/v1", "scan"),
    ("export", "bag", "A/R01", "bag"),
    ("site", "new-key", "--reason", "yearly"),
)


@pytest.fixture
def sent(house: House) -> House:
    """Halifax has sent a reel, and has not fetched it."""
    house.send("halifax", house.scan("scan"))
    return house


def untouched(house: House) -> bool:
    return not any((house.place / name).exists() for name in ("arrived", "bag"))


@pytest.mark.parametrize("words", ASKING, ids=[" ".join(words[:2]) for words in ASKING])
def test_a_drive_that_is_not_connected_is_missing(sent: House, words: tuple[str, ...]):
    away = (sent.place / "store").rename(sent.place / "unplugged")
    before = contents(sent.place / "halifax" / "ledger")

    said = sent.refused("halifax", *words, ends=3)
    assert "where a store was expected. Is the drive connected" in said
    assert untouched(sent)
    assert contents(sent.place / "halifax" / "ledger") == before
    assert sent.told("halifax", "ledger", "check")["entries"] == 6, "what was seen can be checked with no store at all"

    away.rename(sent.place / "store")
    sent("halifax", "reel", "list")


@pytest.mark.parametrize("words", ASKING, ids=[" ".join(words[:2]) for words in ASKING])
def test_an_empty_folder_in_the_stores_place_is_an_alarm(sent: House, words: tuple[str, ...]):
    """As when a share is not mounted, and its mount point is there."""
    (sent.place / "store").rename(sent.place / "unplugged")
    (sent.place / "store").mkdir()

    said = sent.refused("halifax", *words, ends=4)
    assert "no longer shows entry 5, which this site saw before" in said
    assert "Nothing was done; call the coordinator" in said
    assert contents(sent.place / "store") == {}
    assert untouched(sent)


def test_a_bucket_that_was_rolled_back_is_an_alarm(sent: House):
    sent("tokyo", "fetch", "A/R01", "arrived")
    (sent.place / "store" / "entries" / "0000000006").unlink()

    assert "no longer shows entry 6" in sent.refused("tokyo", "reel", "list", ends=4)
    assert "ends with entry 5, but this site has seen entry 6" in sent.refused(
        "tokyo", "ledger", "check", "--bucket", ends=4
    )
    assert sent.told("tokyo", "ledger", "check")["entries"] == 7


def changed(store: Path, entry: int, old: bytes, new: bytes) -> None:
    path = store / "entries" / f"{entry:010d}"
    path.chmod(0o644)
    body = path.read_bytes()
    assert old in body
    path.write_bytes(body.replace(old, new, 1))


@pytest.mark.parametrize("words", [("--bucket",), ("--folder", "store")])
def test_a_changed_entry_is_named(sent: House, words: tuple[str, ...]):
    changed(sent.place / "store", 4, b'"by":"tokyo"', b'"by":"paris"')

    said = sent.refused("tokyo", "ledger", "check", *words, ends=4)
    assert said.startswith("relay: entry 4")


def test_a_changed_entry_stops_a_site_that_reads_it_for_the_first_time(sent: House):
    changed(sent.place / "store", 5, b'"files":12', b'"files":13')

    for words in (("reel", "list"), ("fetch", "A/R01", "arrived")):
        assert "entry 5: the signature is not halifax's" in sent.refused("tokyo", *words, ends=4)
    assert untouched(sent)


def test_a_deleted_entry_is_named(sent: House):
    (sent.place / "store" / "entries" / "0000000003").unlink()

    assert "entry 3 is not in" in sent.refused("tokyo", "ledger", "check", "--bucket", ends=4)
    assert "entry 3: what lies there says that it is entry 4" in sent.refused(
        "nobody", "ledger", "check", "--folder", "store", ends=4
    )


def test_entries_of_another_root_are_refused(sent: House):
    said = sent.refused("nobody", "ledger", "check", "--folder", "store", "--root", "0" * 64, ends=4)
    assert "this is another production, or a forged one" in said


def test_a_word_from_a_later_relay_asks_for_an_upgrade(sent: House):
    """Signed as it should be, by a site that may sign: only the word is new."""
    pen, store = load_pen("halifax", sent.place / "halifax" / "key.pem"), sent.place / "store" / "entries"
    body = {
        "by": "halifax",
        "key": key_id(pen.public),
        "nonce": "0" * 32,
        "previous": hashlib.sha256((store / "0000000005").read_bytes()).hexdigest(),
        "relay_entry": 1,
        "sequence": 6,
        "time": "2027-01-08T17:40:12Z",
        "words": [{"word": "reel-weighed", "grams": 2300}],
    }
    said = json.dumps(body, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    (store / "0000000006").write_bytes(said + base64.b64encode(pen.sign(said)) + b"\n")

    for words in (("reel", "list"), ("send", "scan", "A/R02", "--at-once"), ("ledger", "check", "--bucket")):
        refusal = sent.refused("tokyo", *words, ends=4)
        assert "entry 6 says something that this Relay does not know" in refusal
        assert "'reel-weighed'" in refusal
        assert "upgrade Relay, then run this again" in refusal
    assert sent.entries == 7


def test_a_store_that_refuses_connections_is_tried_again_later(forker: Forker, tmp_path: Path):
    """Five tries take their time: one command is enough."""
    keys = environment(AWS_ACCESS_KEY_ID="access-key", AWS_SECRET_ACCESS_KEY="secret-key")
    address = f"s3://films/quillmark?endpoint=http://127.0.0.1:{free_port()}"
    house = House(forker, tmp_path, address, keys)

    said = house.refused("lisbon", "production", "create", "quillmark.toml", "--store", address, ends=75)
    assert "is the store up, and this machine on the network?" in said
    assert not (tmp_path / "lisbon").exists()


def test_a_store_that_ignores_conditions_cannot_have_a_production(
    ignoring_s3: S3Server, forker: Forker, tmp_path: Path
):
    """Every writer wins there: two sites would both be told that they wrote entry 42."""
    keys = {"AWS_ACCESS_KEY_ID": ignoring_s3.access_key, "AWS_SECRET_ACCESS_KEY": ignoring_s3.secret_key}
    bucket = ignoring_s3.bucket()
    house = House(forker, tmp_path, f"s3://{bucket}/p?endpoint={ignoring_s3.endpoint}", environment(**keys))

    said = house.refused("lisbon", "production", "create", "quillmark.toml", "--store", house.store)
    assert "does not keep what a production stands on: 'once'" in said
    assert not (tmp_path / "lisbon").exists()
    assert ignoring_s3.client().list_objects_v2(Bucket=bucket)["KeyCount"] == 0
    answer = house("lisbon", "store", "check", house.store, ends=2)
    assert "once: BROKEN" in answer.out


@pytest.mark.seaweedfs
def test_a_wrong_secret_or_key_is_said(seaweedfs: S3Server, house: House):
    bucket = seaweedfs.bucket()
    for path in sorted((house.place / "store" / "entries").iterdir()):
        seaweedfs.client().put_object(Bucket=bucket, Key=f"entries/{path.name}", Body=path.read_bytes())
    address = f"s3://{bucket}?endpoint={seaweedfs.endpoint}"
    right = {"AWS_ACCESS_KEY_ID": seaweedfs.access_key, "AWS_SECRET_ACCESS_KEY": seaweedfs.secret_key}
    wrong = (
        ({**right, "AWS_SECRET_ACCESS_KEY": "wrong"}, "The secret key does not fit the access key"),
        ({**right, "AWS_ACCESS_KEY_ID": "stranger"}, "The store does not know this access key"),
        ({}, "no keys were found"),
    )
    House(house._forker, house.place, env=environment(**right))("tokyo", "site", "move", address)

    for keys, expected in wrong:
        shut = House(house._forker, house.place, env=environment(**keys, AWS_SHARED_CREDENTIALS_FILE="/dev/null"))
        assert expected in shut.refused("tokyo", "reel", "list")
    assert House(house._forker, house.place, env=environment(**right)).told("tokyo", "reel", "list")["reels"]


def test_an_object_that_is_gone_is_named_and_mended(sent: House):
    frame = sent.place / "scan" / "a_r01.0086405.dpx"
    digest = hashlib.sha256(frame.read_bytes()).hexdigest()
    (sent.place / "store" / "by-digest" / digest[:2] / digest).unlink()

    faults = sent.told("tokyo", "fetch", "A/R01", "arrived", ends=4)["faults"]
    assert [(each["path"], each["what"], each["expected"]) for each in faults] == [(frame.name, "missing", digest)]
    assert untouched(sent)
    sent("halifax", "mend", "A/R01/v1", "scan")
    assert sent.told("tokyo", "fetch", "A/R01", "arrived")["whole"] is True


def test_a_manifest_that_was_spoiled_is_named_and_mended(sent: House):
    manifest = str(sent.told("halifax", "reel", "show", "A/R01")["versions"][0]["manifest"])  # type: ignore[index]
    held = sent.place / "store" / "by-digest" / manifest[:2] / manifest
    held.chmod(0o644)
    held.write_bytes(held.read_bytes().replace(b"0086400", b"0086500"))

    said = sent.refused("tokyo", "fetch", "A/R01", "arrived", ends=4)
    assert f"{manifest} holds wrong bytes" in said
    assert "put it right with `relay mend`" in said
    sent("halifax", "mend", "A/R01/v1", "scan")
    assert sent.told("tokyo", "fetch", "A/R01", "arrived")["whole"] is True


def test_a_bad_copy_mends_nothing(sent: House):
    frame = sent.place / "scan" / "a_r01.0086405.dpx"
    digest = hashlib.sha256(frame.read_bytes()).hexdigest()
    held = sent.place / "store" / "by-digest" / digest[:2] / digest
    held.unlink()
    shutil.copytree(sent.place / "scan", sent.place / "other")
    (sent.place / "other" / frame.name).write_bytes(b"something else")
    sent.told("tokyo", "fetch", "A/R01", "arrived", ends=4)

    said = sent.refused("halifax", "mend", "A/R01/v1", "other")
    assert frame.name in said
    assert not held.exists()
