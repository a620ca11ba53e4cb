"""A reel of pictures that a camera took, sent for real; what lies in the store is decoded by OpenImageIO and PyAV."""

import shutil
import subprocess

import pytest

from relay.media.compare import Scanned, compare
from relay.media.sequence import picture_of
from relay.model import FrameRange, ScanMap
from relay.store.directory import DirectoryStore
from relay.store.keys import object_key
from relay.transfer.deposit import deposit
from relay.transfer.notebook import Notebook
from tests.conftest import missing
from tests.references.pictures import FIRST_NUMBER, street_reel  # noqa: F401  a fixture

COUNT = 24


@pytest.fixture
def reel(street_reel):  # noqa: F811
    return street_reel(COUNT, 1024, 778)


def test_frames_that_were_sent_decode_to_the_same_pictures(tmp_path, reel):
    av, oiio = pytest.importorskip("av"), pytest.importorskip("OpenImageIO")
    store = DirectoryStore.founded(tmp_path / "bucket")
    with Notebook(tmp_path / "notes") as notebook:
        sent = deposit(reel, store, notebook)
    picture = picture_of(sent.manifest)
    assert picture is not None
    assert picture.name == "frames/A_R01.#.dpx"
    assert picture.numbers() == list(range(FIRST_NUMBER, FIRST_NUMBER + COUNT))
    for place, (_, file) in list(enumerate(picture.files))[::6]:
        copy = tmp_path / f"{place}.dpx"
        copy.write_bytes(store.read(object_key(file.digest)))
        original = oiio.ImageBuf(str(reel / file.path))
        held = oiio.ImageBuf(str(copy))
        assert (held.get_pixels() == original.get_pixels()).all()
        assert held.spec().get_int_attribute("dpx:FramePosition") == place
        with av.open(str(copy)) as container:
            (frame,) = container.decode(video=0)
        assert (frame.width, frame.height) == (1024, 778)


def test_the_manifest_of_a_reel_passes_sha256sum_in_its_folder(tmp_path, reel):
    if shutil.which("sha256sum") is None:
        missing("no `sha256sum` found: it is part of coreutils")
    with Notebook(tmp_path / "notes") as notebook:
        manifest = deposit(reel, DirectoryStore.founded(tmp_path / "bucket"), notebook).manifest
    command = ["sha256sum", "--check", "--strict", "--quiet"]
    done = subprocess.run(command, input=manifest.encode(), cwd=reel, capture_output=True, check=False)
    assert (done.returncode, done.stdout) == (0, b"")
    body = bytearray((reel / manifest.files[7].path).read_bytes())
    body[-1000] ^= 4
    (reel / manifest.files[7].path).write_bytes(body)
    done = subprocess.run(command, input=manifest.encode(), cwd=reel, capture_output=True, check=False)
    assert manifest.files[7].path.encode() in done.stdout


def test_a_reel_with_mended_and_lost_frames_sends_only_those_and_compares_as_ranges(tmp_path, reel):
    store = DirectoryStore.founded(tmp_path / "bucket")
    scan = ScanMap.start_mark(FIRST_NUMBER)
    with Notebook(tmp_path / "notes") as notebook:
        first = deposit(reel, store, notebook)
        names = [file.path for _, file in picture_of(first.manifest).files]
        for name in names[5:8]:
            shutil.copyfile(reel / names[20], reel / name)  # held frames, as when a loss is bridged
        for name in names[-2:]:
            (reel / name).unlink()
        second = deposit(reel, store, notebook)
    changes = compare(Scanned(first.manifest, scan), Scanned(second.manifest, scan))
    assert changes.changed == (FrameRange(first=5, last=7),)
    assert changes.removed == (FrameRange(first=COUNT - 2, last=COUNT - 1),)
    assert not changes.added
    assert second.sent_objects == 1  # the manifest: the held frame's picture was there already
