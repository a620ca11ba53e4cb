"""A folder held against its manifest: every kind of difference is found, and nothing else is called one."""

import os
import shutil
import subprocess

import pytest

from relay.errors import MissingError
from relay.media.manifest import CHUNK_SIZE, WHOLE_LIMIT, Manifest
from relay.model import Digest, digest_of
from relay.transfer.faults import Fault, What, Where
from relay.transfer.verify import verify
from tests.faults.fetch_house import manifest_of
from tests.faults.send_house import lay_out, package

FILES = {"frames/A_R01.0000001.dpx": b"one", "frames/A_R01.0000002.dpx": b"two", "mix.wav": b"sound"}


def fault_of(path: str, what: What, found: bytes | None = None, detail: str = "") -> Fault:
    expected = digest_of(FILES[path]) if path in FILES else None
    return Fault(path, what, Where.ARRIVAL, expected, None if found is None else digest_of(found), detail)


@pytest.fixture
def folder(tmp_path):
    return lay_out(tmp_path / "arrived", FILES)


@pytest.fixture
def manifest():
    return manifest_of(FILES)


def test_a_whole_folder_has_no_faults(folder, manifest):
    assert verify(folder, manifest) == []


def test_the_manifest_of_a_whole_folder_satisfies_sha256sum_itself(folder, manifest, tmp_path):
    """GNU coreutils: `sha256sum -c` reads the same lines that we wrote, and agrees."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    (tmp_path / "manifest").write_bytes(manifest.encode())

    def agrees() -> bool:
        command = ["sha256sum", "-c", "--strict", "--quiet", tmp_path / "manifest"]
        return subprocess.run(command, cwd=folder, capture_output=True, check=False).returncode == 0

    assert agrees()
    (folder / "mix.wav").write_bytes(b"noise")
    assert not agrees()
    assert [fault.path for fault in verify(folder, manifest)] == ["mix.wav"]


def test_each_kind_of_difference_is_told_apart(folder, manifest):
    (folder / "frames/A_R01.0000001.dpx").write_bytes(b"One")
    (folder / "frames/A_R01.0000002.dpx").unlink()
    (folder / "mix.wav").write_bytes(b"sound and more")
    (folder / "frames/stranger.dpx").write_bytes(b"?")
    assert verify(folder, manifest) == [
        fault_of("frames/A_R01.0000001.dpx", What.CHANGED, b"One"),
        fault_of("frames/A_R01.0000002.dpx", What.MISSING),
        fault_of("frames/stranger.dpx", What.EXTRA),
        fault_of("mix.wav", What.CHANGED, b"sound and more", "14 bytes, expected 5"),
    ]


def test_swapped_files_are_both_named(folder, manifest):
    one, two = folder / "frames/A_R01.0000001.dpx", folder / "frames/A_R01.0000002.dpx"
    one.rename(folder / "aside")
    two.rename(one)
    (folder / "aside").rename(two)
    assert verify(folder, manifest) == [
        fault_of("frames/A_R01.0000001.dpx", What.CHANGED, b"two"),
        fault_of("frames/A_R01.0000002.dpx", What.CHANGED, b"one"),
    ]


@pytest.mark.parametrize("kind", ["link to the same bytes", "broken link", "pipe", "folder"])
def test_what_is_no_file_is_never_read_as_one(kind, folder, manifest, tmp_path):
    path = folder / "mix.wav"
    path.rename(tmp_path / "aside.wav")
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(tmp_path / ("aside.wav" if kind.startswith("link") else "nowhere"))
    expected = What.MISSING if kind == "folder" else What.NOT_A_FILE
    assert verify(folder, manifest) == [fault_of("mix.wav", expected)]


def test_a_folder_that_became_a_link_hides_what_it_held(folder, manifest, tmp_path):
    (folder / "frames").rename(tmp_path / "frames")
    (folder / "frames").symlink_to(tmp_path / "frames")
    found = {fault.path: fault.what for fault in verify(folder, manifest)}
    assert found == {
        "frames": What.EXTRA,
        "frames/A_R01.0000001.dpx": What.MISSING,
        "frames/A_R01.0000002.dpx": What.MISSING,
    }


def test_what_file_browsers_drop_is_no_fault(folder, manifest):
    for name in (".DS_Store", "frames/Thumbs.db", "frames/._A_R01.0000001.dpx"):
        (folder / name).write_bytes(b"?")
    assert verify(folder, manifest) == []


def test_a_trusted_file_is_not_read_but_its_size_counts(folder, manifest):
    (folder / "mix.wav").write_bytes(b"SOUND")
    assert verify(folder, manifest, trusted={"mix.wav"}) == []
    (folder / "mix.wav").write_bytes(b"SOUND!")
    assert [fault.path for fault in verify(folder, manifest, trusted={"mix.wav"})] == ["mix.wav"]


def test_a_folder_that_is_not_there_is_said_to_be_missing(tmp_path, manifest):
    with pytest.raises(MissingError, match="is not a folder"):
        verify(tmp_path / "nowhere", manifest)


class TestAFileInChunksIsHeldToBothItsDigests:
    @pytest.fixture
    def body(self):
        body = bytearray(WHOLE_LIMIT + 5)
        for place in range(0, len(body), CHUNK_SIZE):
            body[place : place + 5] = place.to_bytes(5, "big")
        return body

    def test_a_wrong_byte_is_placed_in_its_chunk(self, tmp_path, body):
        manifest = manifest_of({"mix.wav": bytes(body)})
        body[3 * CHUNK_SIZE + 77] ^= 1
        folder = lay_out(tmp_path / "arrived", {"mix.wav": bytes(body)})
        (fault,) = verify(folder, manifest)
        assert (fault.path, fault.found) == ("mix.wav", digest_of(body))
        assert fault.detail == f"1 of 9 chunks, the first from byte {3 * CHUNK_SIZE} on"
        assert str(3 * CHUNK_SIZE) in str(fault)

    def test_a_manifest_whose_chunks_make_another_file_contradicts_itself(self, tmp_path, body):
        (file,) = manifest_of({"mix.wav": bytes(body)}).files
        lying = Manifest.of([file._replace(digest=Digest("0" * 64))])
        folder = lay_out(tmp_path / "arrived", {"mix.wav": bytes(body)})
        (fault,) = verify(folder, lying)
        assert "contradicts itself" in fault.detail

    def test_a_missing_end_is_found(self, tmp_path, body):
        manifest = manifest_of({"mix.wav": bytes(body)})
        folder = lay_out(tmp_path / "arrived", {"mix.wav": bytes(body[:-5])})
        (fault,) = verify(folder, manifest)
        assert fault.detail == f"{WHOLE_LIMIT} bytes, expected {WHOLE_LIMIT + 5}"


def test_any_order_and_any_number_of_hands_find_the_same(tmp_path):
    files = package(11)
    folder = lay_out(tmp_path / "arrived", files | {"mix.wav": b"x", "more.wav": b"y"})
    manifest = manifest_of(files | {"mix.wav": b"z"})
    assert len({tuple(verify(folder, manifest, hands=hands)) for hands in (1, 2, 16)}) == 1
