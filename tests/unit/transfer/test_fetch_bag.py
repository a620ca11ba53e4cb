"""A bag held against RFC 8493 and against PyPI `bagit`, the reference implementation for Python."""

import hashlib
import re

import bagit
import pytest

from relay.errors import BrokenError, RefusedError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, Manifest
from relay.model import Digest
from relay.store.keys import object_key
from relay.transfer.bag import export_bag
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import MemoryStore
from tests.faults.fetch_house import Failing, hidden_in, lies_at, stored, unharmed
from tests.faults.send_house import LaterClock, lay_out, package

INFO = {"Source-Organization": "Site One", "External-Description": "Reel 1\nof the print"}


@pytest.fixture
def notebook(tmp_path):
    (tmp_path / "home").mkdir()
    with Notebook(tmp_path / "home" / "notes") as opened:
        yield opened


@pytest.fixture
def store():
    return MemoryStore()


@pytest.fixture
def bag(tmp_path, store, notebook):
    manifest = stored(store, package(21))
    assert export_bag(manifest, store, tmp_path / "bag", notebook, INFO, clock=LaterClock()).whole
    return tmp_path / "bag"


def is_valid(folder) -> bool:
    return bagit.Bag(str(folder)).is_valid()


def test_the_reference_implementation_finds_the_bag_valid(bag):
    opened = bagit.Bag(str(bag))
    opened.validate()
    assert opened.version_info == (1, 0)
    assert sorted(opened.algorithms) == ["sha256", "sha512"]
    assert opened.info["Source-Organization"] == "Site One"
    assert re.sub(r"\s+", " ", opened.info["External-Description"]) == "Reel 1 of the print"
    assert opened.info["Payload-Oxum"] == f"{sum(map(len, package(21).values()))}.{len(package(21))}"


def test_the_declaration_is_two_lines_and_nothing_else(bag):
    """RFC 8493, 2.1.1: exactly two lines, UTF-8, no byte-order mark."""
    declared = (bag / "bagit.txt").read_bytes()
    assert declared == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_every_payload_file_stands_in_every_manifest_once(bag):
    """RFC 8493, 2.1.3; hashed here with hashlib."""
    files = {f"data/{path}": body for path, body in package(21).items()}
    for name, digest in (("sha256", hashlib.sha256), ("sha512", hashlib.sha512)):
        lines = (bag / f"manifest-{name}.txt").read_text().splitlines()
        assert sorted(lines) == sorted(f"{digest(body).hexdigest()}  {path}" for path, body in files.items())


def test_every_tag_file_stands_in_the_tag_manifests(bag):
    """RFC 8493, 2.2.1: all but the tag manifests themselves."""
    expected = {"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "manifest-sha512.txt"}
    for name in ("sha256", "sha512"):
        lines = (bag / f"tagmanifest-{name}.txt").read_text().splitlines()
        assert {line.split("  ", 1)[1] for line in lines} == expected


@pytest.mark.parametrize("fault", ["flip", "extra byte", "missing", "stranger", "tag"])
def test_a_broken_bag_is_no_longer_valid(fault, bag):
    path = next(path for path in sorted((bag / "data").rglob("*.dpx")))
    body = bytearray(path.read_bytes())
    if fault == "flip":
        body[0] ^= 1
        path.write_bytes(body)
    elif fault == "extra byte":
        path.write_bytes(body + b"x")
    elif fault == "missing":
        path.unlink()
    elif fault == "stranger":
        (bag / "data" / "stranger.dpx").write_bytes(b"?")
    else:
        (bag / "bag-info.txt").write_text("Source-Organization: Somebody Else\n")
    assert not is_valid(bag)


def test_percent_signs_in_paths_are_written_as_the_rfc_says(tmp_path, store, notebook):
    """RFC 8493, 2.1.3: CR, LF and % in a path, and no others, are percent-encoded."""
    files = {"100% black.dpx": b"black", "a+b&c=d.dpx": b"plain", "größe.dpx": b"umlaut"}
    assert export_bag(stored(store, files), store, tmp_path / "bag", notebook, {}).whole
    listed = {line.split("  ", 1)[1] for line in (tmp_path / "bag/manifest-sha256.txt").read_text().splitlines()}
    assert listed == {"data/100%25 black.dpx", "data/a+b&c=d.dpx", "data/größe.dpx"}


def test_names_in_other_scripts_are_valid_to_the_reference_implementation(tmp_path, store, notebook):
    files = {"größe/プリント.dpx": b"one", "गीत.wav": b"two"}
    assert export_bag(stored(store, files), store, tmp_path / "bag", notebook, {}).whole
    assert is_valid(tmp_path / "bag")


def test_a_file_in_chunks_is_one_file_in_the_bag(tmp_path, store, notebook):
    body = bytearray(WHOLE_LIMIT + 5)
    for place in range(0, len(body), CHUNK_SIZE):
        body[place : place + 5] = place.to_bytes(5, "big")
    assert export_bag(stored(store, {"mix.wav": bytes(body)}), store, tmp_path / "bag", notebook, {}).whole
    assert is_valid(tmp_path / "bag")
    line = f"{hashlib.sha512(body).hexdigest()}  data/mix.wav\n"
    assert (tmp_path / "bag/manifest-sha512.txt").read_text() == line


def test_files_of_this_site_are_taken_from_its_folder(tmp_path, store, notebook):
    files = package(22)
    manifest = stored(store, files)
    watched = Failing(store, unharmed)
    near = {lay_out(tmp_path / "reel", files): manifest}
    assert export_bag(manifest, watched, tmp_path / "bag", notebook, {}, earlier=near).whole
    assert watched.reads.total() == 0
    assert is_valid(tmp_path / "bag")


def test_a_wrong_object_means_no_bag_and_its_file_is_named(tmp_path, store, notebook):
    files = {"a.dpx": b"one", "b.dpx": b"two"}
    manifest = stored(store, files)
    store._objects[object_key(manifest.by_path["b.dpx"].digest)] = b"twO"
    exported = export_bag(manifest, store, tmp_path / "bag", notebook, {})
    assert [fault.path for fault in exported.faults] == ["data/b.dpx"]
    assert not (tmp_path / "bag").exists()


def test_a_bag_whose_manifest_contradicts_itself_is_never_made(tmp_path, store, notebook):
    body = bytes(WHOLE_LIMIT + 5)
    (file,) = stored(store, {"mix.wav": body}).files
    lying = Manifest.of([file._replace(digest=Digest("0" * 64))])
    with pytest.raises(BrokenError, match=r"data/mix\.wav: found SHA-256"):
        export_bag(lying, store, tmp_path / "bag", notebook, {})
    assert not (tmp_path / "bag").exists()


def test_an_interrupted_export_is_finished_by_the_same_call(tmp_path, store, notebook):
    manifest = stored(store, package(23))
    hidden = tmp_path / ".relay-incoming-bag"
    lay_out(hidden, {"bagit.txt": b"half", "data/sound/mix.wav": package(23)["sound/mix.wav"]})
    exported = export_bag(manifest, store, tmp_path / "bag", notebook, INFO)
    assert exported.kept_bytes == len(package(23)["sound/mix.wav"])
    assert is_valid(tmp_path / "bag")
    assert hidden_in(tmp_path) == []


@pytest.mark.parametrize("info", [{"": "x"}, {"A:B": "x"}, {"Line\nBreak": "x"}, {"Empty": " "}, {"Return": "a\rb"}])
def test_info_that_no_bag_can_hold_is_refused(info, tmp_path, store, notebook):
    with pytest.raises(RefusedError, match=r"bag-info\.txt"):
        export_bag(stored(store, {"a.dpx": b"x"}), store, tmp_path / "bag", notebook, info)
    assert not (tmp_path / "bag").exists()
    assert lies_at(tmp_path / "home").keys() >= {"notes"}
