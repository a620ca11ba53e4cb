"""The main job, as people do it: a finished reel goes over, whole; it comes back changed; everything is on record."""

import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import bagit
import pytest

from tests.acceptance.command import Forker, environment
from tests.acceptance.house import House, contents, picture
from tests.servers.s3 import S3Server


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """A folder on the disk, as people have it."""
    with tempfile.TemporaryDirectory(prefix="relay-") as folder:
        yield Path(folder)


class Shelf(Protocol):
    """Where a store's objects lie, so that a test can spoil one and copy all."""

    address: str

    def spoil(self, digest: str) -> None:
        """Flip one bit of an object."""

    def copied(self, to: Path) -> Path:
        """Copy the whole store into a folder."""


class FolderShelf:
    def __init__(self, place: Path) -> None:
        self.address = "store"
        self._folder = place / "store"

    def spoil(self, digest: str) -> None:
        held = self._folder / "by-digest" / digest[:2] / digest
        held.chmod(0o644)
        held.write_bytes(flipped(held.read_bytes()))

    def copied(self, to: Path) -> Path:
        return shutil.copytree(self._folder, to)


class BucketShelf:
    def __init__(self, server: S3Server) -> None:
        self._client, self._bucket = server.client(), server.bucket()
        self.address = f"s3://{self._bucket}/films/quillmark?endpoint={server.endpoint}"

    def spoil(self, digest: str) -> None:
        key = f"films/quillmark/by-digest/{digest[:2]}/{digest}"
        body = self._client.get_object(Bucket=self._bucket, Key=key)["Body"].read()
        self._client.put_object(Bucket=self._bucket, Key=key, Body=flipped(body))

    def copied(self, to: Path) -> Path:
        for page in self._client.get_paginator("list_objects_v2").paginate(Bucket=self._bucket):
            for listed in page["Contents"]:
                path = to / listed["Key"].removeprefix("films/quillmark/")
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(self._client.get_object(Bucket=self._bucket, Key=listed["Key"])["Body"].read())
        return to


def flipped(body: bytes) -> bytes:
    return body[:-1] + bytes([body[-1] ^ 1])


def sha256(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()


@pytest.fixture(params=["folder", pytest.param("seaweedfs", marks=pytest.mark.seaweedfs)])
def shelf(request: pytest.FixtureRequest, tmp_path: Path) -> Shelf:
    return FolderShelf(tmp_path) if request.param == "folder" else BucketShelf(request.getfixturevalue(request.param))


@pytest.fixture
def fresh(shelf: Shelf, request: pytest.FixtureRequest, forker: Forker, tmp_path: Path) -> Iterator[House]:
    """A place with a production's file in it, and nothing else."""
    keys = {"AWS_ACCESS_KEY_ID": "access-key", "AWS_SECRET_ACCESS_KEY": "secret-key"}
    if not isinstance(shelf, FolderShelf):
        server: S3Server = request.getfixturevalue(request.node.callspec.params["shelf"])
        keys = {"AWS_ACCESS_KEY_ID": server.access_key, "AWS_SECRET_ACCESS_KEY": server.secret_key}
    return House(forker, tmp_path, shelf.address, environment(**keys))


def test_a_reel_goes_over_comes_back_and_every_word_about_it_holds(fresh: House, shelf: Shelf):
    house = fresh
    house.create()
    scan = house.scan("scan")

    sent = house.send("halifax", scan, "A/R01", "--start-mark", "86402", "--note", "dry scan")
    assert (sent["version"], sent["files"], sent["bytes"]) == ("A/R01/v1", 12, sum(map(len, contents(scan).values())))
    assert sent["frames"] == [[-2, 9]]

    received = house.told("tokyo", "fetch", "A/R01", "arrived")
    assert (received["whole"], received["faults"]) == (True, [])
    assert contents(house.place / "arrived") == contents(scan)

    graded = house.place / "arrived"
    for number in (86404, 86405, 86409):
        (graded / f"a_r01.{number:07d}.dpx").write_bytes(picture(number, seed=2))
    (graded / "a_r01.0086411.dpx").unlink()
    back = house.send("tokyo", graded, "A/R01", "--note", "graded")
    assert (back["version"], back["new"]) == ("A/R01/v2", True)
    assert back["sent_objects"] == 4, "three frames and the manifest"
    assert house.send("tokyo", graded)["new"] is False

    changes = house.told("lisbon", "reel", "compare", "A/R01/v1", "A/R01/v2")
    assert changes["frames"] == {"added": [], "changed": [[2, 3], [7, 7]], "removed": [[9, 9]]}

    # A late rescan with other file numbers speaks of the same frames: only what it shows anew has changed.
    rescan = house.scan("rescan", first=100, count=14)
    (rescan / "a_r01.0000105.dpx").write_bytes(picture(5, seed=3))
    again = house.send("halifax", rescan, "A/R01", "--start-mark", "102", "--parent", "A/R01/v1")
    assert again["frames"] == [[-2, 11]]
    changes = house.told("lisbon", "reel", "compare", "A/R01/v1", "A/R01/v3")
    assert changes["frames"] == {"added": [[10, 11]], "changed": [[3, 3]], "removed": []}

    history = house.told("lisbon", "reel", "show", "A/R01")["versions"]
    assert [(each["version"], each["parents"], each["note"], each["whole_at"]) for each in history] == [
        ("A/R01/v1", [], "dry scan", ["tokyo"]),
        ("A/R01/v2", ["A/R01/v1"], "graded", []),
        ("A/R01/v3", ["A/R01/v1"], "", []),
    ]
    house.told("tokyo", "fetch", "A/R01/v1", "first-version")
    assert contents(house.place / "first-version") == contents(scan)

    _spoil_and_mend(house, shelf, scan)
    _prove(house, shelf)


def _spoil_and_mend(house: House, shelf: Shelf, scan: Path) -> None:
    """One bit of one frame flips in the store: it is refused, named, mended by a site that may, and fetched whole."""
    frame = scan / "a_r01.0086408.dpx"
    good, bad = sha256(frame.read_bytes()), sha256(flipped(frame.read_bytes()))
    shelf.spoil(good)

    unasked = house.told("halifax", "mend", "A/R01/v1", scan)  # nobody has said yet that anything is wrong
    assert (unasked["mended"], unasked["looked_at"]) == ([], 0)
    refused = house.told("lisbon", "fetch", "A/R01/v1", "at-lisbon", ends=4)
    assert [(each["path"], each["where"], each["expected"], each["found"]) for each in refused["faults"]] == [
        (frame.name, "bucket", good, bad)
    ]
    assert not (house.place / "at-lisbon").exists()
    assert "tokyo may not mend. lisbon, halifax may" in house.refused("tokyo", "mend", "A/R01/v1", scan)
    assert house.told("halifax", "mend", "A/R01/v1", scan)["mended"] == [good]
    again = house.told("halifax", "mend", "A/R01/v1", scan, "--all")
    assert (again["mended"], again["looked_at"]) == ([], len(list(scan.iterdir())))
    assert house.told("lisbon", "fetch", "A/R01/v1", "at-lisbon")["whole"] is True
    assert contents(house.place / "at-lisbon") == contents(scan)

    assert house.told("lisbon", "verify", "at-lisbon", "A/R01/v1")["whole"] is True
    damaged = house.place / "at-lisbon" / frame.name
    damaged.write_bytes(flipped(damaged.read_bytes()))
    found = house.told("lisbon", "verify", "at-lisbon", "A/R01/v1", ends=4)
    assert [(each["path"], each["where"]) for each in found["faults"]] == [(frame.name, "arrival")]


def _prove(house: House, shelf: Shelf) -> None:
    """The record holds at every site, in the store and in a copy of it; a bag holds by the RFC's reference library."""
    house.told("tokyo", "export", "bag", "A/R01/v2", "bag")
    bag = bagit.Bag(str(house.place / "bag"))
    assert bag.is_valid()
    assert bag.info["External-Identifier"] == "A/R01/v2"
    assert len(list(bag.payload_files())) == 11

    file = house.place / "quillmark.toml"
    file.write_text(file.read_text() + '\n[[element.reel]]\nname = "R03"\n')
    assert house.told("lisbon", "production", "revise", file, "--reason", "a third can was found")["entry"]
    assert house.told("lisbon", "production", "revise", file, "--reason", "once more")["entry"] is None
    assert [each["reel"] for each in house.told("tokyo", "reel", "list")["reels"]] == ["A/R01", "A/R02", "A/R03"]

    entries = house.told("tokyo", "ledger", "show", "--last", "0")["entries"]
    root = house.told("tokyo", "ledger", "check")["root"]
    copy = shelf.copied(house.place / "copy-of-the-store")
    for words in ((), ("--bucket",), ("--folder", copy, "--root", root)):
        checked = house.told("tokyo", "ledger", "check", *words)
        assert (checked["entries"], checked["head"], checked["holds"]) == (len(entries), entries[-1]["digest"], True)
