"""What docs/FORMAT.md says can be checked without Relay is checked so, with the document's own lines."""

import hashlib
import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.acceptance.command import REPO
from tests.acceptance.house import House
from tests.conftest import missing

FORMAT = (REPO / "docs" / "FORMAT.md").read_text(encoding="utf-8")


def shown(beginning: str) -> str:
    """Return the document's block of commands that begins so."""
    found = re.search(rf"^```\n({re.escape(beginning)}.*?)^```$", FORMAT, re.MULTILINE | re.DOTALL)
    assert found, f"FORMAT.md no longer shows {beginning!r}"
    return found[1]


def done(script: str, cwd: Path, **more: str) -> "subprocess.CompletedProcess[str]":
    bare = {"PATH": os.environ["PATH"], "LC_ALL": "C", **more}
    return subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script], cwd=cwd, env=bare, capture_output=True, text=True, check=False
    )


@pytest.fixture
def store(house: House) -> Path:
    """A copy of a store in which much was said: a reel, a receipt, a removed site, a new key."""
    for program in ("openssl", "sha256sum", "base64"):
        if shutil.which(program) is None:
            missing(f"no {program} found")
    house.send("halifax", house.scan("scan"), "A/R01", "--note", "réparé au collodion")
    house("tokyo", "fetch", "A/R01", "arrived")
    house("halifax", "site", "new-key", "--reason", "yearly")
    house("lisbon", "site", "remove", "tokyo", "--reason", "its work is done")
    house.send("halifax", house.scan("again", seed=2), "A/R01")
    return Path(shutil.copytree(house.place / "store", house.place / "copy"))


def test_an_object_is_named_by_what_sha256sum_prints(store: Path):
    line = shown("sha256sum by-digest/ab/abcdef...").partition("#")[0]
    objects = sorted((store / "by-digest").glob("*/*"))

    assert len(objects) == 26, "twelve frames twice, and two manifests"
    for path in objects:
        asked = line.replace("by-digest/ab/abcdef...", str(path.relative_to(store)))
        assert done(asked, store).stdout.split()[0] == path.name


def test_a_package_is_checked_by_its_manifest_alone(store: Path, house: House):
    manifest = house.told("halifax", "reel", "show", "A/R01")["versions"][0]["manifest"]  # type: ignore[index]
    line = shown("sha256sum -c ").replace(
        "/path/to/by-digest/ab/abcdef...", f"{store}/by-digest/{manifest[:2]}/{manifest}"
    )
    arrived = house.place / "arrived"

    assert done(line, arrived).stdout.count(": OK\n") == 12
    (arrived / "a_r01.0086404.dpx").write_bytes(b"changed")
    failed = done(line, arrived)
    assert failed.returncode != 0
    assert "a_r01.0086404.dpx: FAILED" in failed.stdout


def public_keys(entries: list[Path]) -> dict[str, str]:
    """Return the keys by their SHA-256, as the document says where they stand."""
    keys = {}
    for path in entries:
        for word in json.loads(path.read_bytes().partition(b"\n")[0])["words"]:
            for field in ("root", "coordinator", "key", "invitation"):
                if isinstance(key := word.get(field), str) and word["word"] != "production-revised":
                    keys[key] = field
    named = 'printf %s "$KEY" | base64 -d | sha256sum'
    assert named in FORMAT
    return {done(named, entries[0].parent, KEY=key).stdout.split()[0]: key for key in keys}


def signature_check(slot: int) -> str:
    block = shown("sha256sum entries/0000000041")
    return block.replace("0000000041", f"{max(slot - 1, 0):010d}").replace("0000000042", f"{slot:010d}")


def test_every_entry_is_checked_with_openssl_and_sha256sum(store: Path, house: House):
    entries = sorted((store / "entries").iterdir())
    keys = public_keys(entries)
    previous = "0" * 64

    assert len(entries) == 10
    for slot, path in enumerate(entries):
        said = json.loads(path.read_bytes().partition(b"\n")[0])
        verified = done(signature_check(slot), store, KEY=keys[said["key"]])
        assert "Signature Verified Successfully" in verified.stdout, verified.stderr
        assert (said["sequence"], said["previous"]) == (slot, previous)
        if slot:
            assert verified.stdout.split()[0] == said["previous"], "the digest of the entry before"
        previous = hashlib.sha256(path.read_bytes()).hexdigest()

    root = json.loads(entries[0].read_bytes().partition(b"\n")[0])["key"]
    assert f'root = "{root}"' in (house.place / "tokyo" / "site.toml").read_text()


def test_a_changed_entry_fails_by_hand_as_well(store: Path):
    path = store / "entries" / "0000000005"
    keys = public_keys(sorted((store / "entries").iterdir()))
    said = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(said.replace(b'"files":12', b'"files":13'))

    key = keys[json.loads(said.partition(b"\n")[0])["key"]]
    assert "Signature Verified Successfully" not in done(signature_check(5), store, KEY=key).stdout


def test_a_large_file_is_the_cat_of_its_chunks(house: House):
    """129 MiB, of which all but the ends is the same: eight chunks are one object."""
    folder = house.place / "mix"
    folder.mkdir()
    with (folder / "mix.wav").open("wb") as file:
        file.write(b"RIFF")
        file.truncate(129 * 1024 * 1024)
    house.send("halifax", folder, "A/R02")
    manifest = house.told("halifax", "reel", "show", "A/R02")["versions"][0]["manifest"]  # type: ignore[index]
    text = (house.place / "store" / "by-digest" / manifest[:2] / manifest).read_text()

    chunks = re.findall(r"^# chunk ([0-9a-f]{64}) \d+$", text, re.MULTILINE)
    assert (len(chunks), len(set(chunks))) == (9, 3)
    pieces = " ".join(f"by-digest/{chunk[:2]}/{chunk}" for chunk in chunks)
    whole = re.search(r"^([0-9a-f]{64})  mix\.wav$", text, re.MULTILINE)
    assert whole
    assert done(f"cat {pieces} | sha256sum", house.place / "store").stdout.split()[0] == whole[1]
    assert done(f"sha256sum -c {house.place}/store/by-digest/{manifest[:2]}/{manifest}", folder).returncode == 0
